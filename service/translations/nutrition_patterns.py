"""Patterns for texts on leaf and soil tests that arrive with their values filled in.

The same as :mod:`service.translations.patterns`, which takes these apart: what the page of a
block's tests says of a sample, a class and a step of the plan. Sources stay in English.
"""

from __future__ import annotations

from service.translations.catalogue import marked

NUTRITION_PATTERNS: tuple[str, ...] = (
    # Classes.
    marked("deficient"), marked("low"), marked("sufficient"), marked("high"), marked("excess"),
    marked("very low"), marked("medium"), marked("optimum"), marked("no class"),
    marked("not tested"), marked("no published range here"), marked("harmless"),
    marked("excess: salt"), marked("surface, not tissue: spray residue is likely"),
    marked("below what the laboratory can detect, which is no class here"),
    # The sample.
    marked("not named"),
    marked("No class: the day of the sample is not known."),
    marked("No class: taken {days} days outside of the window ({span} in the north); the values are"
           " kept and compared with the block's own."),
    marked("Taken {days} days outside of the window ({span} in the north): N and K are one step"
           " less certain."),
    marked("How many leaves were taken is not known."),
    marked("No class: {count} leaves are fewer than half of the {limit} that a sample needs."),
    marked(
        "{count} leaves: a sample needs {limit}. Their mean is uncertain by {percent} %, that of"
        " {largest} by {lowest} % (from memory)."
    ),
    marked("The harvest carries off {limit} kg/ha: the need is no less."),
    marked("Sampled again {days} days after {day}: the newest counts."),
    marked("{listed} contradict: take a third sample."),
    # What the nutrients say together.
    marked("Not considered: disease, roots, spray residue, crop load, and what the laboratory knows"
           " of the place."),
    marked("Manganese in excess in blueberry: the soil may be too acid (below 4.3) or wet. Check"
           " soil pH before anything else."),
    marked("Iron that is sufficient on paper with yellow young leaves points to pH or bicarbonate:"
           " total iron misleads."),
    marked("Chloride or sodium is at a level that harms: look at water, salt and drainage."),
    marked("Boron is at a poisonous level: no boron in any form, and test water and soil."),
    marked("What is in excess is left out of the plan; it never calls for another nutrient."),
    # Nitrogen.
    marked("Base for year {count}: {source}."), marked("given"),
    marked("Leaf nitrogen is {finding} and shoots are {noun}: {share} of the base."),
    marked("Leaf nitrogen is {finding} but shoots are {noun}: they disagree, so nothing is"
           " changed."),
    marked("No class of leaf nitrogen: the base stands."),
    marked("No class of leaf nitrogen: the base stands, changed by {noun} shoots to {share}."),
    marked("Planted this year: a leaf test changes nothing."),
    marked("The leaf has nitrogen in excess: none this season."),
    marked("Water: {nitrate} mg/L of nitrate nitrogen in {depth} mm bring {mass} kg/ha, of which"
           " {percent} % count."),
    marked("Water: {nitrate} mg/L of nitrate nitrogen in {depth} mm bring {mass} kg/ha, of which"
           " {percent} % count. The water test is older than a year: half."),
    marked("Organic matter: {percent} % over {share} % of the ground (20 kg/ha a percent, from"
           " memory)."),
    marked("Credits count up to {percent} % of the need."),
    marked("Last season had {mass} kg/ha; a perennial answers over two seasons, so that a year"
           " changes it by {percent} % at most."),
    marked("The most that is planned at this age: {limit} kg/ha."),
    marked("Law or the nutrient management plan: {limit} kg/ha."),
    marked("Nitrogen of the season, over planted ground."),
    marked("Law or the nutrient management plan allows {limit} kg/ha: the season is shortened from"
           " its last part backwards."),
    marked("Only {mass} of {limit} kg/ha of nitrogen fit before its last date: the rest is not"
           " given."),
    marked("A perennial reacts over two seasons: never adjust twice on one sample."),
    marked("Young blueberries are killed by too much: 50 kg/ha was best and 100 and 150 kg/ha"
           " killed 17 to 55 % of the plants (Bañados and others 2012)."),
    marked("State law, nutrient management plans and labels stand above this plan, and the"
           " laboratory's own recommendation comes first."),
    # Other nutrients.
    marked("Blueberries rarely respond above {limit} mg/kg: none is planned."),
    marked("The soil test has no class: no {oxide} is planned."),
    marked("No class: nothing is published here for this method."),
    marked("Classes at half of the row's, as for blueberry, from memory."),
    marked("Magnesium is short: magnesium sulfate at the laboratory's rate."),
    marked("Boron is short: on the leaf by the label, never on soil and leaf both; a little too"
           " much is poison."),
    marked("Calcium is short: look at water and pH first; gypsum gives calcium without moving pH."),
    marked("Sulfur is short: sulfates among the fertilizers bring it."),
    marked("Iron is short: look at soil pH and bicarbonate before any iron."),
    marked("Manganese is short: look at soil pH first, then a leaf spray by the label."),
    marked("Zinc is short: a leaf spray by the label."),
    marked("Copper is short: a leaf spray by the label; fungicides may bring it."),
    # What is not known.
    marked("No nitrogen is published here for this crop: give a base."),
    marked(
        "The season is under way: the parts before today are taken as given and are not made"
        " up for."
    ),
    marked("Last season's nitrogen is not known: the change from it is not held to 30 %."),
    marked("No class of leaf nitrogen: the base is not changed by a leaf."),
    marked("No nitrate of the water: no credit for it."),
    marked("The season's depth of water is not known: no credit for its nitrate."),
    marked("No organic matter: no credit for it."),
    marked("No soil test: nothing is planned of P, K and pH."),
    marked("No {name} in the soil test: none is planned."), marked("No soil pH: no plan of it."),
    marked("Neither texture nor exchange capacity: no plan of sulfur."),
    marked("The soil is below the target: lime needs the laboratory's buffer or tons."),
    # Soil pH.
    marked("Published sulfur tables differ threefold for one soil. Split it, and test the soil"
           " again at the same depth before each further part; stop at 0.2 above the target. Below"
           " pH 4.2 only lime mends it."),
    marked("On moist soil above 10 °C, in early spring or autumn, under the drip line and never on"
           " wet, airless ground. The next part only after a soil pH, 3 months (warm) to 12 months"
           " later."),
    marked("Above pH 6.5 sulfur rarely works: look for free carbonate first."),
    marked("Not practical: the soil is above pH 7."),
    marked("Not practical: water of {limit} mg/L alkalinity brings the lime back every year."),
    marked("Another site, beds of bark or peat, or acidified water are what is left."),
    marked("Under plastic sulfur stays dry and does not act: only acidified water is left."),
    marked("Water brings {mass} kg/ha of CaCO3 a season: {limit} kg/ha of sulfur to stand still."),
    marked("Acid of the last year used up {limit} kg/ha of it."),
    marked("Water takes back what the fertilizer acidifies: no direction."),
    marked("Soil pH should rise; two soil tests must confirm it."),
    marked("Soil pH should fall; two soil tests must confirm it."),
    # The season's tasks.
    marked("About {count} leaves, at least {limit}: {noun}."),
    marked("About {count} petioles, at least {limit}: {noun}."),
    marked("Leaf sample, {noun}"), marked("Petiole sample, {noun}"),
    marked("bloom"), marked("veraison"), marked("harvest"),
    marked("early summer"),
    marked("Part {count} of {limit}: {mass} kg/ha ({percent} lb/ac) of treated ground, by the soil"
           " test of {day}."),
    # What fits many texts comes last.
    marked("{finding} (below the limit of detection)"),
    marked("{finding}, close to {noun}"),
    marked("The leaf test is high: none is planned."),
    marked("The leaf test is above the range, in excess: none is planned."),
    marked("The leaf test is low though the soil test is {finding}: look at roots, water and pH"
           " first; none is planned."),
    marked("The harvest carries off {limit} kg/ha of K2O."),
    marked("The harvest carries off {limit} kg/ha of K2O. {rest}"),
    marked("The leaf test is sufficient, so half of it is enough."),
    marked("The leaf test is sufficient, so half of it is enough. {rest}"),
    marked("Berries on sand get half of it, by drip in {count} parts or more."),
    marked("Berries on sand get half of it, by drip in {count} parts or more. {rest}"),
    marked("As sulfate, never chloride."),
    marked("The soil test is {finding}. {rest}"),
    marked("The soil test is {finding}."),
    marked("{noun} uses up {mass} kg/ha."),
)  # fmt: skip
