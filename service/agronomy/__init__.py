"""From a weather day to a pulse plan: pure functions, the same input gives the same output.

``daily_plan`` tells the story; read it first, then the steps in the order in which they are taken.

The words

    units             every name with its unit, range and meaning
    crop_units        the same for the crop, its canopy and its mulch
    weather_units     the same for weather and radiation
    water_units       the same for water quality, acid and fertiliser
    forecast_units    the same for how good forecasts were
    nutrition_units   the same for leaf, petiole and soil tests
    learning_units    the same for what soil readings teach of a block
    risk_units        the same for a plan that weighs the risk of a forecast
    season_units      the same for days of the year and cold
    service_units     the same for the service itself
    quantity          one line of that table
    depth_rounding    the one rounding of a depth that people read
    records           the arrays over sites and blocks that travel from step to step

What is there before any weather

    crop_file         the file of published crop numbers, checked
    crop_table        published crop numbers, by crop
    soil              water contents and conductivity of a soil, from its texture
    block_batch       stored numbers of many blocks into the arrays of one season
    civil_day         length of a local day; wall-clock times as elapsed minutes
    weekly_hours      hours of every week without water, and what they leave a timer
    watering_window   when each block may run on a day

Weather into water use

    station_day       what a station measured hour by hour, as civil days
    rain_booking      which days a rain-gauge reading belongs to
    climatology       what is normal for the time of year
    weather_voices    what each source says, on scales on which they can be compared
    weather_nearby    what places nearby say of a day
    source_votes      how far voices are apart, and whose to set aside
    day_order         sources whose days are moved or turned round
    sun_clock         hours of radiation that do not follow the sun
    weather_agreement  which values of which source to set aside, and why
    weather_choice    of several reports, the best value for each site, day and field
    weather_flags     what is known of a value besides the value, in bits and in words
    radiation_record  days with more sun than a clear sky gives
    weather_day       checked and filled values, each liberty flagged
    atmosphere        the formulas of air and radiation that several steps share
    sun               sunrise and sunset, between which the day's ET passes
    dewpoint          how far it lies below the night minimum, learned month by month
    reference_et      ET0 by Penman-Monteith; the only door to pyet
    reference_et_terms  the terms of it one by one, for a reader
    reference_et_gaps  gaps of it, bridged by places nearby or by the days on both sides
    reference_et_outage  longer ones, from earlier years or the last known days
    forecast_scores   how good forecasts were, from pairs of issued and observed days
    forecast_checks   whether such pairs can be compared at all
    great_circle      how far apart places are
    site_weather      the steps above for all sites at once: what a block needs to know of its site
    weather_members   several courses that the coming days may take at each site
    rain_members      such courses out of a chance of rain and an amount
    member_courses    such courses out of the members of an ensemble
    member_checks     what speaks against the members of a site, and the words for it
    member_calibration  members corrected by what came of earlier ones
    canopy_density    how much of a full canopy's water a smaller one uses
    mulch             what film, fabric or straw takes off the crop coefficient
    crop_water_use    growth stage, climate, canopy and mulch into the crop coefficient
    coefficient_steps  the way to the crop coefficient of one day, for a reader
    dormancy          the season in which a block is watered at all
    sparse_canopy     a second estimate of that coefficient, from the canopy alone

Water use into depletion

    effective_rain    the part of the rain that enters the managed soil
    root_zone         what the zone holds and gives; what the emitters do to it
    alley_store       rain that roots outside the wet strip find, used first
    block_days        the steps above for all blocks at once: their days
    water_balance     one day of the zone, and the loop over days
    stress_kernel     depletion within the day between pulses, compiled
    balance_kernel    the loop over days, compiled
    soil_reading      what a probe says of the depletion, and how far the balance follows it

What a block's readings teach

    learning_points   the points that are tried, and how likely each is beforehand
    learning_ledger   the ledger of a block at all of them
    learning_ledger_kernel  the same, compiled
    learning_readings  what readings say of the zone, and what each can be off by
    learning_likelihood  how well each agrees with all readings of a season
    learned_multipliers  what is known then of a block's use, store and rate, and of its depletion
    sensor_check      whether a sensor still says what the soil is like
    learning_gate     what is sure enough to be offered, and in what steps
    learning_carry_over  what is left of it after a winter, and what a new block begins with

Depletion into pulses

    watering_rules    how much to put back, and between which pulse lengths
    risk_attitude     what a grower would rather risk, and what that leaves to chance
    safe_depth        the least water that a forecast with a spread calls for
    risk_guard        where the evening rule is better than that
    shadow_course     what a rule would have done to the soil, on paper
    pulse_plan        what a block asks of a day and what it gets
    pulse_kernel      the same, compiled: pulses of one block alone
    hand_visits       starts only while somebody is there to open the valve
    freeze_hold       hours too cold for a pulse, cut out of the windows
    window_kernel     where a pulse fits the allowed hours
    supply            pulses of the blocks that share a supply
    supply_kernel     the same, compiled: all supplies of a day, and what cut a block
    supply_share_kernel  who gets how much of a supply that is short
    share_trial_kernel  whether a share fits, and the largest that does
    list_schedule_kernel  whose pulse starts next, whenever flow is free
    flow_profile_kernel  pulses put into the flow that is free, minute by minute
    block_packing_kernel  whole blocks, one after the other, put into it
    gap_filling_kernel  what is free at last, given out in equal steps
    levelling_kernel    minutes of blocks far above others go to those, where they fit
    tier_minutes_kernel  minutes as a share of a need, and back
    serial_schedule_kernel  pulses one after another, each at its earliest
    finish_search_kernel  orders of the pulses with which a supply is done sooner
    injection_room    whether a day changed for fertiliser keeps the promises of its plan

The whole

    daily_plan        ledger and tomorrow's plan, step after step
    replanning        the rest of a day that is under way
    outlook           the coming days as the plan expects them
    step_template     numbers put into the templates of the steps
    reasoning         the steps of a plan in words, with the numbers put in
    step_rule         how one of those steps is shown
    steps_of_crop     those from the weather to the crop's water use
    steps_of_water    those from there to the minutes
    steps_of_risk     those of a decision under a forecast with a spread
    season            a past season, evening after evening
    hindsight         a plan of a day that is over, with the rain that fell
    week_spread       the coming days in each course that the weather may take
    spread_kernel     its compiled march of the members through the days
    week_ahead        the days until a timer is set again, and what it can be set to
    week_courses      the courses that the rain of those days may take
    week_program      one program for a timer that is set once a week
    week_kernel       the course of a week under one program, compiled
    run_time_kernel   the best run time of a set of days, compiled
    weekday_kernel    the best of all sets of weekdays, compiled
    timer_kernel      the search for the best one, compiled
    turn_room_kernel  how turns share a supply and a cycle, compiled
    turn_kernel       the search for blocks that take turns, compiled
    past_program      a past season under a fixed rule, or a timer set once a week
    nitrate_loss      nitrogen that drains with the water, to compare them by
    county_need       a week's water need, county by county
    capacity          peaks of need in many years, and what a supply carries at them
"""
