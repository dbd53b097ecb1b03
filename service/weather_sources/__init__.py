"""Where weather comes from, one file per source; units and vendor names end here.

open_meteo     hours of the whole world, past and forecast
open_meteo_members  hours of the members of its ensembles
open_meteo_answers  what its questions and answers have in common
nasa_power     days of the whole world, some days late
nws_grid       forecast of the United States
http           how every service is called: pace, attempts, breakers, stored answers
request        one question, its answer, and its failure
attempt        one exchange over the wire
stored_answer  answers as they are kept
breaker        when to leave a service alone
answer_shape   JSON parsed without trusting it
day_fields     time steps into the civil days of a place, and those into rows
"""
