"""Patterns for texts on pipes, water and fertiliser that arrive with their values filled in.

The same as :mod:`service.translations.patterns`, which takes these apart: advisories and cautions
shown on the page of a block's pipes and water, in plans and in mails. Texts caused only by unusual
laboratory reports or tanks stay in English.
"""

from __future__ import annotations

from service.translations.catalogue import marked

WATER_PATTERNS: tuple[str, ...] = (
    # Where an injection goes, or why it does not.
    marked(
        "{joined} pulses were joined to one for the injection ({before} pulses became {after}),"
        " with the same water. Longer pulses wet deeper: see that the soil has room."
    ),
    marked(
        "{joined} pulses were joined to one, where the last of them stood, for the injection"
        " ({before} pulses became {after}), with the same water. Longer pulses wet deeper."
    ),
    marked(
        "The day of the supply was planned again so that one run of {minutes} min holds the"
        " injection, with no less water for this block; {waiting} min of other blocks wait for"
        " later, and none runs short by it. A longer run wets deeper."
    ),
    marked("{minutes} min of water were added so that the lines are flushed clean."),
    marked(
        "The injection is split over {count} pulses; the injector must stop with each of its spans."
    ),
    marked(
        "The run of {total} min leaves {room} min for injection after the clean start and before"
        " the flush; {minutes} min are needed."
    ),
    marked(
        "Of the two pulses the first stays clean, since the second would wash its nutrients down;"
        " the second of {total} min leaves {room} min for injection after filling and before a"
        " clean quarter; {minutes} min are needed."
    ),
    marked(
        "The longest pulse between the first and the last has {total} min; filling, {minutes} min"
        " of injection and the flush need {needed} min."
    ),
    marked(
        "Joining pulses does not help: no pulse may be longer than {longest} min, or soil, windows"
        " or supply do not allow a joined pulse, and all together make {total} min."
    ),
    marked("The {minutes} min of water that may be added do not suffice or fit."),
    marked(
        "The injector would have to run at {rate} L/h, below the {lowest} that it can: make the"
        " stock solution thinner."
    ),
    marked(
        "WARNING: {mass} kg of nitrogen on {day}, after {last}, the last day for nitrogen of this"
        " block. Late growth does not harden before frost."
    ),
    marked(
        "a day up to {last}, the last one for nitrogen ({source}); or confirm that later nitrogen"
        " is meant"
    ),
    marked(
        "{given} kg/ha ({pounds} lb/ac) of {noun} on {day}: one event commonly brings up to"
        " {limit} kg/ha ({most} lb/ac). What the roots do not take up leaves with the next rain."
    ),
    marked(
        "{given} kg/ha ({pounds} lb/ac) of {noun} in the season: up to {limit} kg/ha ({most}"
        " lb/ac) is common. Base it on a leaf or soil analysis."
    ),
    marked("up to {limit} kg/ha ({most} lb/ac) in one event: look at units and area, or split it"),
    marked("up to {limit} kg/ha ({most} lb/ac) in a season: look at units and area"),
    marked(
        "{asked} of {noun} were asked for and these products give {given}: add a product that holds"
        " it."
    ),
    marked(
        "{asked} of {noun} were asked for and these products give {given}: another product for one"
        " of the other nutrients gives less of it."
    ),
    marked(
        "These products also bring {given} of {noun}, which was not asked for: count it in the"
        " season's need."
    ),
    marked(
        "These products also bring {given} of nitrogen on {day}, after the last day for nitrogen:"
        " take a product without it on that day."
    ),
    marked(
        "{percent} % of this nitrogen is nitrate, and the crop wants ammonium: ammonium sulfate or"
        " urea is common; nitrate also leaves with the water."
    ),
    marked(
        "Calcium of {noun} and sulfate of {rest} fall out as gypsum: use two tanks, or two days."
    ),
    marked(
        "Calcium of {noun} and phosphate of {rest} fall out as calcium phosphate: use two tanks, or"
        " two days."
    ),
    marked(
        "Magnesium of {noun} and phosphate of {rest} may fall out unless the tank is acid: make a"
        " jar test."
    ),
    marked("a day up to {last}, the last one for nitrogen ({source})"),
    marked("a fertigation day with a part up to {last}"),
    marked("1 to {limit} of them"),
    marked("a whole number from 1 to {limit}"),
    # Pipes, flow and supply.
    marked(
        "From the start the block took {percent} % of what is expected: check the meter's unit, the"
        " block's area and emitters, and the pressure."
    ),
    marked(
        "At this block's spread of {spread} % from run to run, a sudden loss of {loss} % would show"
        " after about {runs} runs."
    ),
    marked(
        "A sudden loss of {loss} % is lost in this block's spread of {spread} % from run to run."
    ),
    marked("A slow loss of {loss} % over {season} runs would show after about {runs} of them."),
    marked("A slow loss of {loss} % over {season} runs would not show in them."),
    marked("The pressure regulator is out of its range: {finding}."),
    marked("{count} emitters work outside of the pressure range in which they compensate."),
    marked("Nothing flows from emitter {count} of the worst row on."),
    marked(
        "{count} summers are few: what 90 or 95 % of years stay below is then hardly more than the"
        " largest one seen."
    ),
    marked("The plants count in every summer as large as they are in {year}."),
    marked(
        "{supply}: the peak week of crop use by shade (Keller & Bliesner 1990) is {shade} mm, that"
        " of the summers {summers}: look at crop coefficients and canopy."
    ),
    marked(
        "block {block} would take {taken}, the supply gives {given}: split the block or enlarge"
        " the pump"
    ),
    marked(
        "{supply}: the peaks need at most {most}, but block {block} alone takes {taken}: the"
        " pump must give that, or the block is split."
    ),
    marked("block {block} alone takes {taken}: split it first"),
    marked(
        "At the fastest that the injector can the EC in the lines would rise by {rise} to {reached}"
        " dS/m; {limit} is common for this crop. Plans inject as slowly as the window allows; if"
        " that is not slow enough, make the stock solution thinner or split it over more days."
    ),
    # Water and acid.
    marked(
        "The calcium of this fertilizer meets the water's own bicarbonate: the index of calcite"
        " goes from {before} to {after} in the lines, and lime may fall out. Inject longer and"
        " thinner, lower the alkalinity, or make a jar test."
    ),
    marked(
        "The phosphate of this fertilizer meets the water's own calcium: calcium phosphate is"
        " oversaturated in the lines, index {after}. A more acid water, another phosphate or a jar"
        " test is common."
    ),
    marked(
        "pH {lowest} or more, or a titration of this water: below it a few per cent of the dose"
        " decide between a harmless and a corrosive water, and no analysis is that good"
    ),
    marked("pH {lowest} or more here. {cause}"),
    marked(
        "The tank would hold {percent} % of acid: it gets hot while it is mixed, and its vapor"
        " harms. A faster injector takes it more diluted."
    ),
    marked(
        "Water takes {minutes} min to the last emitter: a shorter injection moves along the lines"
        " as a slug, and no emitter may show its pH for long. Measure close by."
    ),
    marked("{least} L/h or more, which is the acid alone, or a longer injection"),
    marked(
        "This dose is on a cliff: {less} % less acid gives pH {high}, {more} % more gives pH"
        " {low}. No injector holds that; take a higher pH."
    ),
    marked("Below detection, taken as the detection limit: {listed}."),
    marked(
        "As typed the charges differ by {typed} %; with {noun} read as {measure} they would differ"
        " by {other} %. Ask the laboratory which form it prints. Nothing was changed."
    ),
    marked(
        "A pH below {lowest} in the lines is for short, supervised flushes, not for continuous"
        " injection."
    ),
    marked(
        "The titration asks for {dose} mmol/L, the analysis for {analysis}. The titration was used;"
        " check that both are of the same water."
    ),
)
SINGLE_TEXTS: tuple[str, ...] = (
    marked("bicarbonate and carbonate"),
    marked("potassium"),
    marked("magnesium"),
    marked("mg/L as CaCO3"),
    marked("per mL"),
    marked("mg/L as HCO3"),
    marked("mg/L of the ion"),
    marked("Nothing runs on this day, so nothing can be injected."),
    marked("No water may be added to lengthen a pulse."),
    marked(
        "Inject on a day with a longer run, with a stronger stock solution in less time, or in two"
        " parts on two days."
    ),
    marked(
        "1 summer is few: what 90 or 95 % of years stay below is then hardly more than the largest"
        " one seen."
    ),
    marked(
        "Calcium is not known; it was taken as what balances the ions that are. The dose hardly"
        " depends on it, the saturation does."
    ),
    marked(
        "Neither EC nor sodium and chloride are known: for a salty water (10 to 50 mmol/L of salt)"
        " the dose near pH 6.5 comes out up to 5 to 12 % too high."
    ),
    marked(
        "Phosphate with the calcium of this water may precipitate in the lines above about pH 6."
        " Common practice, no source: make a jar test, or take another acid."
    ),
    marked("This acid adds chloride to the water."),
    marked("a product that holds a nutrient asked for"),
    marked("each day once"),
    marked("0 kg/ha or more"),
    marked("given"),
    marked("the ledger's last year"),
    marked("the injections alone, at the flow of the block"),
    marked("how many injections the season has was not said"),
    marked("no water of a season was given"),
    marked(
        "No salinity threshold and slope are published for this crop, or none was given: no"
        " leaching requirement and no expected yield are given."
    ),
    marked("the supply's pressure is below what the regulator needs to hold its setting"),
    marked("the supply's pressure is above what the regulator is made for"),
    marked("the block takes less flow than the regulator can control"),
    marked("the block takes more flow than the regulator can pass"),
    marked(
        "Whether this falls out in the lines is not known: no analysis of the water gives its pH"
        " and alkalinity. Have the water analyzed, or make a jar test."
    ),
    # Where a last day for nitrogen comes from, as nutrition/crops.toml has it.
    marked(
        "common practice, no single source: finished before the end of July in the south-east, by"
        " early July in cooler regions, so that growth hardens and flower buds form"
    ),
    marked("from memory: none after mid-August"),
    marked("this project's choice: six weeks after bloom"),
)
"""Texts without placeholders, which only need to be in the catalogue."""
