"""Mails: their content, their parts, and what nobody can smuggle into them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from html import unescape
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import NoWaterPeriod
from service.delivery.message import (
    LARGEST_BYTES,
    LARGEST_CHART_BYTES,
    MailIdentity,
    compose,
    html_of,
)
from service.delivery.plain_text import LONGEST_NAME, clean
from service.records.letters import EveningLetter, ForecastNote, Letter, SkyDay, TimerLine
from tests.delivery.test_timer_words import DAILY
from tests.letters import (
    DAY,
    ISSUED_AT,
    STAMP,
    block_line,
    block_week,
    bulletin,
    evening,
    pulse,
    reader,
    sample_reminders,
    weekly,
)

IDENTITY = MailIdentity(
    sender_address="plans@mail.example.org",
    sender_name="Plans",
    domain="mail.example.org",
    reply_address="office@mail.example.org",
    public_url="https://farm.example.org",
)


def parsed(letter: Letter, **who: Any) -> EmailMessage:
    content = compose(letter, reader(**who), STAMP, identity=IDENTITY)
    return message_from_bytes(content, policy=policy.default)


def plain(message: EmailMessage) -> str:
    body = message.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def html(message: EmailMessage) -> str:
    body = message.get_body(("html",))
    assert body is not None
    return str(body.get_content())


def part(message: EmailMessage, kind: str) -> EmailMessage:
    (found,) = (each for each in message.walk() if each.get_content_type() == kind)
    return found


SKY = (
    SkyDay(
        day=DAY,
        tmin_c=20.0,
        tmax_c=30.0,
        wind_m_s=2.0,
        rain_mm=0.0,
        rain_probability_fraction=0.2,
    ),
)


def under_a_sky(letter: EveningLetter) -> EveningLetter:
    """The letter with the weather of its day."""
    return replace(letter, sites=tuple(replace(each, sky=SKY) for each in letter.sites))


def test_the_first_line_is_the_instruction_and_both_parts_have_every_number() -> None:
    message = parsed(under_a_sky(evening()))
    text = plain(message)
    assert text.splitlines()[0] == (
        "Tomorrow, Thursday, July 16: open first, 4:00 AM, North (close at 5:09 AM, 69 min, 729"
        " gal)."
    )
    assert message["Subject"] == "Thu: water 2 of 3, first 4:00 AM North - Brook farm"
    for phrase in (
        "729 gal",  # 69 min x 40 L/min = 2760 L; 1 gal is 3.785411784 L
        "2 of 3 blocks, 1,522 gal",
        "68 to 86 °F, wind 4 mph, 20% chance of rain.",
        "0.50 in missing by evening, water from 0.40 in",
        "The crop will use 0.20 in; depletion would reach 0.50 in, at or beyond the 0.40 in that"
        " call for water.",
        "Rain: Tue 0.10 in; Wed 0.00 in; Thu 0.30 in forecast, chance 60%.",
        "Weather by an invented service",
        "A plan never starts a pump by itself.",
    ):
        assert phrase in text
        assert phrase in html(message)
    assert "Thu 69, Fri 10, Sat 20, Sun 30, Mon 40, Tue 50, Wed 60" in text
    assert "144" not in text  # minutes belong to one valve and are never added over blocks


def test_the_day_comes_in_the_order_of_the_clock_then_the_blocks_by_need() -> None:
    """Both parts say the same in the same order."""
    letter = under_a_sky(
        evening(
            block_line("North", pulse("00:00", 69), pulse("09:00", 30)),
            block_line(
                "South", pulse("05:10", 40), cause=int(ShortfallCause.SUPPLY), shortfall_mm=2.54
            ),
            block_line("West"),
        )
    )
    message = parsed(letter)
    text = plain(message)
    assert text.splitlines()[0].startswith(
        "Tomorrow, Thursday, July 16: open first, 12:00 AM, North (midnight tonight, close at 1:09"
    )
    lines = [line.strip() for line in text.splitlines()]
    assert [line for line in lines if line.startswith("[ ]")] == [
        "[ ] 12:00 AM to 1:09 AM, 69 min: North",
        "[ ] 5:10 AM to 5:50 AM, 40 min: South",
        "[ ] 9:00 AM to 9:30 AM, 30 min: North",
    ]
    in_order = (
        "open first", "Short:", "The day in order", "5:50 AM", "68 to 86 °F", "Open the plan",
        "The 3 blocks, most urgent first", "from 5:10 AM, 1 opening", "from 12:00 AM, 2 openings",
        "Rest", "Why, and the next 7 days", "The crop will use", "Rain and weather",
        "Plan 1, made", "A plan assumes",
    )  # fmt: skip
    body = html(message)[html(message).index("<main>") :]
    for part_text in (text, body):
        places: list[int] = []
        for phrase in in_order:
            places.append(part_text.index(phrase, places[-1] if places else 0))
        assert places == sorted(places)
    for word in ("▲ Short", "● Water", "○ Rest"):
        assert word in unescape(body)


def test_a_day_without_water_says_so_first_and_which_block_comes_next() -> None:
    message = parsed(evening(block_line("North"), block_line("South", outlook=())))
    assert message["Subject"] == "Thu: no water - Brook farm"
    assert plain(message).splitlines()[0] == (
        "No water tomorrow, Thursday, July 16. Keep all valves closed. North is expected to come"
        " first, on Fri, Jul 17."
    )
    assert 'class="m-hero"' not in html(message)  # brass is for what is opened or closed


def test_a_block_that_somebody_paused_is_neither_resting_nor_short() -> None:
    begins = datetime.combine(DAY, datetime.min.time())
    pause = NoWaterPeriod(begins, begins + timedelta(hours=42), "spraying")
    message = parsed(evening(block_line("North", pulse("04:00", 9)), block_line("W", pause=pause)))
    assert "Paused: spraying, until Fri, Jul 17, 6:00 PM" in plain(message)
    assert "■ Paused" in unescape(html(message))


def test_many_short_blocks_are_counted_at_the_top_and_named_below() -> None:
    short = {"cause": int(ShortfallCause.SUPPLY), "shortfall_mm": 2.54}
    letter = evening(*(block_line(f"B{n}", pulse("04:00", 60), **short) for n in range(4)))
    assert "! Short: 4 blocks get less than they need." in plain(parsed(letter))
    few = evening(*letter.blocks[:2])
    assert "! Short: B0, 0.10 in waits; B1, 0.10 in waits." in plain(parsed(few))


def test_what_is_degraded_is_in_the_first_three_lines() -> None:
    letter = evening(
        block_line("North", pulse("04:00", 69), flags=int(PlanFlag.FORECAST_MISSING)),
        block_line("South", flags=int(PlanFlag.FORECAST_MISSING | PlanFlag.RUNS_ASSUMED)),
        plan_version=2,
    )
    text = plain(parsed(letter))
    first = "\n".join(text.splitlines()[:3])
    assert "no recent forecast, normal weather used" in first
    assert "no runs reported, plans assumed done (1 of 2 blocks)" in first
    assert "CHANGED" in first
    assert "There is no forecast for the day" in text  # in full, further down


def test_less_than_the_need_and_counted_rain_are_shown() -> None:
    letter = evening(
        block_line(
            "North",
            pulse("04:00", 69),
            cause=int(ShortfallCause.SUPPLY),
            shortfall_mm=2.54,
            rain_credit_mm=5.08,
        )
    )
    text = plain(parsed(letter))
    assert "SHORT of water by 0.10 in: the supply has no more flow to give in the" in text
    assert "Rain counted on: 0.20 in." in text


@pytest.mark.parametrize(
    ("need_mm", "deferred_mm", "is_said"),
    # [CHOICE] 10 % of the need and 0.5 mm: both must be passed.
    [(2.0, 0.3, False), (12.0, 0.7, False), (6.0, 0.7, True)],
)
def test_the_remainder_of_whole_minutes_is_no_news(
    need_mm: float, deferred_mm: float, is_said: bool
) -> None:
    block = block_line(
        "North",
        pulse("04:00", 69),
        cause=int(ShortfallCause.MINIMUM_PULSE),
        deferred_mm=deferred_mm,
        shortfall_mm=0.001,
        numbers={"need_mm": need_mm},
    )
    text = plain(parsed(evening(block)))
    assert ("of the need waits for later" in text) is is_said
    assert "SHORT" not in text


def test_the_same_letter_in_spanish_and_si() -> None:
    message = parsed(evening(), language="es", unit_system="si")
    assert message["Subject"] == "jue: regar 2 de 3, primero 04:00 North - Brook farm"
    assert message["Content-Language"] == "es"
    text = plain(message)
    assert text.splitlines()[0] == (
        "Mañana, jueves 16 de julio: abrir primero, 04:00, North (cerrar a las 05:09, 69 min, 2,760"
        " L)."
    )
    for phrase in ("1 apertura (69 min, 2,760 L)", "Descanso: hay", "El cultivo usará 5.1 mm"):
        assert phrase in text
    assert "riegue" not in text
    assert 'lang="es"' in html(message)


def test_a_plan_of_the_day_that_has_begun_says_today() -> None:
    letter = evening(issued_at=ISSUED_AT + timedelta(hours=6))  # one in the morning of the day
    assert plain(parsed(letter)).startswith("Today, Thursday, July 16: open first, 4:00 AM")
    assert plain(parsed(letter, language="es")).startswith("Hoy, jueves 16 de julio: abrir primero")


def test_a_farm_without_weather_says_that_there_is_no_plan() -> None:
    letter = evening(block_line("North", status="no-weather", numbers={}, outlook=(), volume_l=0.0))
    message = parsed(letter)
    assert "NO PLAN" in message["Subject"]
    assert plain(message).startswith("NO PLAN for tomorrow")


def test_the_parts_are_in_the_order_that_mail_programs_want() -> None:
    message = parsed(evening())
    assert [each.get_content_type() for each in message.walk()] == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
        "text/calendar",
    ]
    picture = part(message, "image/png")
    assert f'src="cid:{picture["Content-ID"].strip("<>")}"' in html(message)
    assert 'alt="Chart: when each block runs' in html(message)
    assert len(picture.get_content()) < LARGEST_CHART_BYTES


def test_the_calendar_holds_each_pulse_with_a_uid_that_stays() -> None:
    before = Calendar.from_ical(part(parsed(evening()), "text/calendar").get_content())
    letter = evening()
    newer = replace(letter, blocks=tuple(replace(each, version=3) for each in letter.blocks))
    after = Calendar.from_ical(part(parsed(newer), "text/calendar").get_content())
    events = [(str(e["UID"]), e.start.isoformat(), e.duration.seconds // 60) for e in before.events]
    assert events == [
        ("pulse.brook.north.2026-07-16.1@mail.example.org", "2026-07-16T11:00:00+00:00", 69),
        ("pulse.brook.south.2026-07-16.1@mail.example.org", "2026-07-16T12:10:00+00:00", 40),
        ("pulse.brook.south.2026-07-16.2@mail.example.org", "2026-07-16T14:00:00+00:00", 35),
    ]
    assert [e["UID"] for e in after.events] == [e["UID"] for e in before.events]
    assert {int(str(e["SEQUENCE"])) for e in before.events} == {0}
    assert {int(str(e["SEQUENCE"])) for e in after.events} == {2}


def test_headers_name_one_reader_and_how_to_stop() -> None:
    message = parsed(evening())
    assert message["To"] == "Ana Ejemplo <ana@example.org>"
    assert message["From"] == "Plans <plans@mail.example.org>"
    assert message["Message-ID"] == "<plan.brook.2026-07-16.v1.7@mail.example.org>"
    assert message["List-Unsubscribe"].startswith("<https://farm.example.org/u/token-1>, <mailto:")
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert message["Auto-Submitted"] == "auto-generated"
    assert "https://farm.example.org/u/token-1" in html(message)


def test_without_https_one_click_is_not_promised() -> None:
    identity = replace(IDENTITY, public_url="")
    content = compose(evening(), reader(), STAMP, identity=identity)
    message = message_from_bytes(content, policy=policy.default)
    assert message["List-Unsubscribe-Post"] is None
    assert message["List-Unsubscribe"].strip() == (
        "<mailto:office@mail.example.org?subject=unsubscribe%20token-1>"
    )


HOSTILE = (
    "Farm\r\nBcc: evil@example.net",
    "Farm\nX: y",
    "<script>alert(1)</script>",
    '"><img src=https://evil.example/x>',
    "Farm\u202egnp.exe",
    "a\x00b\x1b[31mred",
    "{farm} {0} %s %(x)s",
    "=?utf-8?q?evil?=",
    "N" * 500,
    "\u2028\u2029\x85",
    "$a_{b}$",
)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_reaches_no_header_and_no_markup(name: str) -> None:
    letter = evening(
        block_line(name, pulse("04:00", 69), block_id="brook.north"),
        block_line("South"),
        farm_name=name,
    )
    counties = bulletin()
    named = replace(
        counties,
        reference_name=name,
        counties=tuple(replace(each, name=name) for each in counties.counties),
    )
    for any_letter in (letter, replace(weekly(block_week(name)), farm_name=name), named):
        message = parsed(any_letter, name=name)
        assert message["Bcc"] is None
        assert message["X"] is None
        assert len(message["To"].addresses) == 1
        assert message["To"].addresses[0].addr_spec == "ana@example.org"
        assert "\u202e" not in message["Subject"]
        body = html(message)
        assert "<script" not in body
        assert "evil.example/x>" not in body
        assert "\x1b" not in plain(message)
        for each in message.walk():
            if each.get_content_type() == "text/calendar":
                assert len(Calendar.from_ical(each.get_content()).walk("VEVENT")) == 1
                assert "\nX:" not in each.get_content()


def test_markup_in_a_name_is_escaped_in_html_and_stands_as_it_is_in_plain_text() -> None:
    name = "Brook & <b>Sons</b>"
    for any_letter in (
        replace(evening(), farm_name=name),
        evening(block_line(name, pulse("04:00", 69))),
        weekly(block_week(name)),
    ):
        message = parsed(any_letter)
        assert "Brook &amp; &lt;b&gt;Sons" in html(message)
        assert "<b>Sons" not in html(message)
        assert "Brook & <b>Sons</b>" in " ".join(plain(message).split())
        assert "&amp;" not in plain(message)


@given(st.text())
def test_a_clean_name_is_one_printable_line_of_at_most_sixty_characters(text: str) -> None:
    name = clean(text)
    assert name
    assert len(name) <= LONGEST_NAME
    assert len(name.splitlines()) == 1
    assert all(character == " " or not character.isspace() for character in name)
    assert clean(name) == name


@pytest.mark.parametrize(
    "address",
    ["a@b.example, evil@x.example", "a@b.example\r\nBcc: e@x.example", "no-address", "ä@b.example"],
)
def test_what_is_not_one_address_is_refused(address: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        compose(evening(), reader(mail_address=address), STAMP, identity=IDENTITY)


@pytest.mark.parametrize("block_count", [1, 40, 120, 600])
def test_a_mail_stays_small_and_says_what_it_leaves_out(block_count: int) -> None:
    letter = evening(
        *(
            block_line(f"Block {n}", pulse("04:00", 60), pulse("08:00", 60), pulse("12:00", 60))
            for n in range(block_count)
        )
    )
    content = compose(letter, reader(language="es"), STAMP, identity=IDENTITY)
    assert len(content) < LARGEST_BYTES
    message = message_from_bytes(content, policy=policy.default)
    text = plain(message)
    shown_count = sum(1 for line in text.splitlines() if line.startswith("Block "))
    if shown_count < block_count:
        assert f"{block_count - shown_count} bloques más no caben en este correo" in text
        assert f"{block_count - shown_count} bloques más no caben en este correo" in html(message)
        opening_count = 3 * block_count - sum(1 for line in text.splitlines() if "[ ] " in line)
        for part_text in (text, html(message)):
            assert f"{opening_count:,} aperturas más no caben en este correo" in part_text


def test_no_line_is_longer_than_smtp_allows() -> None:
    # RFC 5321 4.5.3.1.6: 1000 octets with the line end.
    content = compose(evening(), reader(), STAMP, identity=IDENTITY)
    assert max(map(len, content.split(b"\r\n"))) <= 998
    assert b"\n" not in content.replace(b"\r\n", b"")


def test_the_week_in_numbers() -> None:
    letter = weekly(
        block_week(
            short_days_count=1,
            assumed_days_count=2,
            flow_verdict="the flow fell at once: a closed valve, a blocked filter or a pinched"
            " line",
            flow_change_fraction=-0.25,
            rate_ratio=1.152,
            rate_run_count=20,
        )
    )
    message = parsed(letter)
    text = plain(message)
    assert message["Subject"] == (
        "Week to Sun, Jul 12: watered 1.00 in for 1.20 in used - Brook farm"
    )
    assert text.splitlines()[:2] == [
        "Watered 1.00 in and kept 0.40 in of rain for 1.20 in used: about even.",
        "Ran short: North. 26,417 gal applied in total.",
    ]
    for phrase in (
        "Watered: 1.00",
        "Crop used: 1.20",
        "Rain: 0.50",
        "Kept: 0.40",
        "Soil short by: 0.20",
        "Short in the afternoon on 1 day.",
        "No runs reported on 2 days",
        "Flow check: the flow fell at once",
        "Change: -25%.",
        "By the meter, its emitters gave 115% of what plans count with (20 runs).",
    ):
        assert phrase in text
    assert "Short in the afternoon on 1 day." in html(message)


def test_the_week_begins_as_a_neighbor_would_and_says_the_same_of_each_block() -> None:
    """The farm's depth is over its ground, so a small block weighs little."""
    dry = {"rain_kept_mm": 0.0, "needed_mm": 18.8}
    letter = weekly(
        block_week("North", applied_mm=31.0, area_m2=9_000.0, **dry),
        block_week("South", applied_mm=10.0, area_m2=1_000.0, **dry),
        block_week("West", raw_mm=None),
    )
    for message_part in (plain(parsed(letter)), html(parsed(letter))):
        words = " ".join(message_part.split())
        farm = words.index("Watered 1.14 in for 0.74 in used: over by 0.40 in.")
        north = words.index("Watered 1.22 in for 0.74 in used: over by 0.48 in.")
        south = words.index("Watered 0.39 in for 0.74 in used: under by 0.35 in.")
        assert farm < north < south
    spanish = plain(parsed(letter, language="es", unit_system="si"))
    assert spanish.startswith("Se regaron 28.9 mm para 18.8 mm usados: sobran 10.1 mm.")


def test_the_week_says_which_samples_to_take_and_how() -> None:
    names = ("North", "Hill\r\nBcc: x@y.example")
    message = parsed(weekly(reminders=sample_reminders(*names)))
    text = plain(message)
    for phrase in (
        "Time to sample",
        "Leaf sample (Highbush blueberry and Southern highbush blueberry), Jul 25 to Aug 10: North",
        "About 50 leaves, at least 40",
        "Petiole sample, veraison, Jul 15 to Aug 31",
    ):
        assert phrase in text
        assert phrase in html(message)
    assert "Hill Bcc: x@y.example" in text
    # Said once for all samples; what a crop asks for, with each of them.
    assert text.count("leaves of the middle of this year's shoots") > 1
    assert text.count("One variety, one soil and one age to a sample") == 1
    assert "Time to sample" not in plain(parsed(weekly()))


def test_a_week_without_records_names_no_litres() -> None:
    subject = parsed(weekly(block_week(raw_mm=None)))["Subject"]
    assert subject == "Week to Sun, Jul 12: nothing on record - Brook farm"


def test_the_bulletin_says_how_far_off_the_forecast_was() -> None:
    assert "Forecast of the next day" not in plain(parsed(bulletin()))
    text = plain(parsed(replace(bulletin(), forecast=ForecastNote(2, 2.54, 0.508))))
    said = "mean of 2 counties: rain off by 0.10 in a day. Reference ET off by 0.02 in."
    assert said in " ".join(text.split())
    unknown = replace(bulletin(), forecast=ForecastNote(1, 2.54, float("nan")))
    assert "Reference ET off by" not in plain(parsed(unknown))


def test_the_bulletin_ranks_the_counties_and_shows_dashes_for_what_is_not_known() -> None:
    text = plain(parsed(bulletin()))
    assert text.startswith("Most water: Alder, 1.10 in.")
    for phrase in ("Need: 1.10", "Hours: 13.2", "Rain: 0.20", "ET: 1.60", "of normal: 107%"):
        assert phrase in text
    assert "1 day of the week is a forecast." in text
    assert "7 days" not in text  # of the county without weather nothing was forecast
    assert "Need: -" in text
    assert "nan" not in text.lower()
    assert "Not to be held against the others: 2 days rest on the season's normal" in text
    assert "Normal for the week, without rain: 0.90 in net." in text


def test_a_county_on_the_seasons_normal_is_not_named_before_those_that_were_measured() -> None:
    letter = bulletin()
    first = letter.counties[0]
    measured = replace(first, name="Cove", rank=2, gross_need_mm=25.4, stand_in_days_count=0)
    text = plain(parsed(replace(letter, counties=(first, measured))))
    assert text.startswith("Most water: Cove, 1.00 in.")
    assert text.index("Alder") < text.index("Cove", 40)  # the table ranks all, with its notes


def test_the_html_asks_for_nothing_from_outside() -> None:
    text = html_of(evening(), reader(), STAMP, identity=IDENTITY)
    assert "<img" not in text  # the chart is an extra of the mail, not of the preview
    for source in ('src="http', "url(", "<link", "<script", "@import"):
        assert source not in text


def test_the_mail_of_a_first_plan_says_when_the_soil_was_taken_as_full() -> None:
    start = {"flags": PlanFlag.START_DEPLETION_ASSUMED, "taken_full_day": DAY - timedelta(days=1)}
    alike = plain(parsed(evening(block_line("North", **start), block_line("South", **start))))
    words = " ".join(alike.split())
    assert words.count("Nobody has said how wet the soil was on Wed, Jul 15") == 1
    later = {**start, "taken_full_day": DAY}
    apart = plain(parsed(evening(block_line("North", **start), block_line("South", **later))))
    assert " ".join(apart.split()).count("Nobody has said how wet the soil was on") == 2


@pytest.mark.parametrize("letter_kind", ["evening", "weekly"])
def test_both_parts_of_both_mails_link_to_saying_that_a_timer_was_set(letter_kind: str) -> None:
    line = TimerLine(
        is_set=True, to_set=DAILY, program_id="p1", is_early=False, next_setting=DAY, excess_mm=0.0
    )
    letter = (
        evening(block_line(timer=line))
        if letter_kind == "evening"
        else weekly(block_week(timer=line), block_week("South", raw_mm=None, timer=line))
    )
    stamp = replace(STAMP, timer_token="t1")
    content = compose(letter, reader(), stamp, identity=IDENTITY)
    message = message_from_bytes(content, policy=policy.default)
    links = 1 if letter_kind == "evening" else 2
    for text in (plain(message), html(message)):
        assert text.count("https://farm.example.org/t/t1/p1") == links
    # Without pages there is nothing to open.
    bare = replace(IDENTITY, public_url="")
    content = compose(letter, reader(), stamp, identity=bare)
    message = message_from_bytes(content, policy=policy.default)
    for text in (plain(message), html(message)):
        assert "/t/t1" not in text and "say so here" not in text
