"""Faults of files that people upload on pages: daily weather, and runs."""

from __future__ import annotations

from service.translations.catalogue import marked

SHEET_WORDS: tuple[str, ...] = (
    marked("commas"),
    marked("semicolons"),
    marked("tabs"),
    marked("an empty file"),
    marked("more than 5,000,000 bytes"),
    marked("text in UTF-16"),
    marked("binary content"),
    marked("a logger's table with four header lines"),
    marked("no line with weather"),
    marked("no line with a run"),
    marked("a date alone"),
    marked("this column twice"),
    marked("no amount of water"),
    marked("a depth beside minutes or a volume"),
    marked(
        "CSV text in UTF-8 or Windows-1252, at most 5 MB, 100,000 lines and 64 columns, with a"
        " header such as date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm"
    ),
    marked(
        "CSV text in UTF-8 or Windows-1252, at most 5 MB and 100,000 lines, with a header such as"
        " block,start,duration_min,volume_gal"
    ),
    marked(
        "one header line with our column names and one line per civil day; a logger stamps midnight"
        " at the end of the day, so its 00:00 belongs to the day before"
    ),
    marked("CSV with quotes that are closed"),
    marked("one line per day under the header"),
    marked("one line per run under the header"),
    marked("one column for one quantity; leave one of them out"),
    marked("a column named date"),
    marked("a date as YYYY-MM-DD without a time, such as 2026-07-06, years 1850 to 2200"),
    marked("each day once"),
    marked("each run once"),
    marked("each column once"),
    marked("either start, or date and time"),
    marked("minutes, a volume or a depth"),
    marked("one of them"),
    marked("a time such as 2026-07-14T05:10, with or without an offset such as -04:00"),
    marked("an offset at both start and end, or at none"),
    marked("a time after the start"),
    marked("a number from 0 on, or nothing"),
    marked("the block that ran"),
    marked("runs of a block that do not overlap"),
    marked("hectopascals; divide by 10"),
    marked("kilometers a day or miles an hour; then name the column wind_km_d or wind_mph"),
    marked("kilometers a day; then name the column wind_km_d"),
    marked("W/m2 or langleys; then name the column rs_w_m2 or rs_langley"),
    marked("the mean of the daylight hours or langleys; give the mean of 24 hours"),
    marked("minutes; divide by 60"),
)
"""Whole texts."""

SHEET_PATTERNS: tuple[str, ...] = (
    # Where.
    marked("{file}: line {count}, column {key}"),
    marked("{file}: line {count}"),
    # What was found.
    marked("{count} cells"),
    marked("{count} columns"),
    marked("{count} lines"),
    marked("{count} runs"),
    marked("column {count} without a name"),
    marked("values around {model}"),
    marked("another amount than line {count} with the same block and start"),
    marked("a start before the run of line {count} is over"),
    marked("{key}, also in line {count} with another {listed}"),
    # What is allowed.
    marked("{measure}; save it again as CSV UTF-8"),
    marked("a header with delimiters; {measure}"),
    marked("{count} cells, as many as the header has, between {noun}"),
    marked("at most {count} columns"),
    marked("at most {count} runs in a file"),
    marked("a block of the farm: {listed}"),
    marked("one or more of {listed}"),
    marked("columns {listed}"),
    marked("degrees Fahrenheit; then name the column {key}"),
    marked("kelvin; convert it and name the column {key}"),
    marked("values from {lowest} to {highest}; these look like {finding}"),
    marked("a decimal point, or semicolons between cells; {rest}"),
    marked("a number from {lowest} to {highest}, or nothing; write a trace as 0"),
    marked("a number from {lowest} to {highest}, or nothing"),
    marked("{key} at least as large as {name}"),
)
"""Texts with values in them."""
