"""Leaf, petiole and soil tests: what they say, and the plan of nutrients and soil pH that follows.

Pure: numbers, records and days in and out. Read in this order:

    tables           what is published of each crop: ranges, windows, nitrogen, soil classes
    readings         a laboratory's values in its units, and in ours
    sampling         whether a sample was taken as its ranges ask for
    leaf_classes     the class of each nutrient, and what the balance between them says
    soil_classes     the class of a soil extract, the season's P2O5 and K2O, exchange capacity
    nitrogen_need    nitrogen of a season, from base to factors, credits and caps
    nutrient_dates   the need over the dates of a season, the last date for nitrogen
    soil_ph          sulfur, lime, and what water and fertiliser do to pH
    season_facts     what such a plan is made of
    season_plan      all of it for one block, line by line with its sources

The ranges and rules themselves are data, in the ``.toml`` files of this folder, each row with its
source, region and edition.
"""
