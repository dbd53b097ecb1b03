"""Outlines of counties: read from GeoJSON, simplified together, laid out flat, and labeled.

Pure: positions and names in and out. Read in this order:

    geojson          a parsed GeoJSON document (RFC 7946) to named outlines
    matching         which of the counties known each outline is
    equal_area       longitude and latitude to a plane in which areas compare
    borders          outlines with fewer corners, whose common borders stay common
    label_spot       where within an outline its name fits best
    outlines         all of it for one set of counties, and whether they are where they should be

A position is longitude and latitude in degrees; a ring is its corners without the first one
repeated; a polygon is its outer ring and then its holes; an outline is one or more polygons.
"""
