"""Pages of what happened: the log book, reported runs, and both as files."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import httpx
import openpyxl
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from service.operations.feedback.report_runs import RunReport, report_runs
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.pages.conftest import _TOKEN, Reader, key_for
from tests.pages.well_formed import faults_of

LOG = f"/farms/{FARM_ID}/log-book"
RUNS = f"/farms/{FARM_ID}/runs"
START = datetime(2026, 7, 13, 9, 10, tzinfo=UTC)
RUN = f"/blocks/{BLOCK_ID}/runs/2026-07-13T09:10:00.000000Z"


def run(service: Service, minutes: float = 40.0) -> None:
    with service.unit_of_work(write=True) as unit:
        report_runs(
            unit,
            [RunReport(BLOCK_ID, START, minutes)],
            farm_id=FARM_ID,
            reporter="Ana",
            replanning=service.replanning,
        )


def upload(reader: Reader, content: str, **fields: str) -> httpx.Response:
    found = _TOKEN.search(reader.get(RUNS).text)
    assert found is not None
    files = {"run_file": ("runs.csv", content.encode(), "text/csv")}
    return reader.request("POST", RUNS, data={"token": found[1], **fields}, files=files)


def test_the_log_book_says_what_happened_in_sentences(service: Service, reader: Reader) -> None:
    run(service)
    shown = reader.text(LOG)
    assert "Ran 40 min from Mon, Jul 13, 5:10 AM." in shown
    run(service, 25.0)
    assert "was corrected: 25 min instead of 40 min." in reader.text(LOG)
    assert "duration_min" not in shown and "test-farm.north" not in shown.partition("<form")[0]


def test_an_own_note_is_in_the_log_book_in_full(reader: Reader) -> None:
    text = "Row 12 is dry. " * 30
    note = {"day": "2026-07-13", "block": BLOCK_ID, "visitor": "Luz", "text": text}
    assert reader.send(LOG, LOG, **note).is_redirect
    shown = reader.text(f"{LOG}?kind=notes&block={BLOCK_ID}")
    assert text.strip() in shown and "Luz" in shown
    assert text.strip() not in reader.text(f"{LOG}?kind=runs")
    refused = reader.send(LOG, LOG, **{**note, "text": ""})
    assert refused.status_code == 422 and 'id="text-fault"' in refused.text


def test_entries_are_picked_by_days_and_wrong_days_are_said(
    service: Service, reader: Reader
) -> None:
    run(service)
    today = service.clock.now().date().isoformat()
    assert "Ran 40 min" in reader.text(f"{LOG}?kind=runs")
    assert "Ran 40 min" not in reader.text(f"{LOG}?from=2020-01-01&to=2020-12-31")
    wrong = reader.get(f"{LOG}?from={today}&to=2020-01-01")
    assert wrong.status_code == 422 and 'id="to-fault"' in wrong.text


def test_a_spanish_reader_gets_sentences_in_spanish_and_metric_units(
    service: Service, reader: Reader
) -> None:
    run(service)
    reader.headers = {"Accept-Language": "es"}
    shown = reader.text(f"{LOG}?kind=runs")
    assert "40 min" in shown
    for english in ("Log book", "Ran ", "Reported runs", "somebody at the machine"):
        assert english not in shown, english


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_page_of_a_run_keeps_to_the_rules(
    service: Service, reader: Reader, language: str
) -> None:
    run(service)
    reader.headers = {"Accept-Language": language}
    assert faults_of(reader.get(RUN).text) == []


def test_a_run_is_listed_corrected_and_taken_back(service: Service, reader: Reader) -> None:
    run(service)
    assert RUN in reader.text(RUNS)
    form = {"day": "2026-07-13", "time": "05:10", "minutes": "25", "unit": "gal", "act": "save"}
    answer = reader.send(RUN, RUN, **form)
    assert "what-changed" in answer.headers["location"]
    assert "The run is corrected." in reader.text(answer.headers["location"])
    assert "25 min" in reader.text(RUNS)
    answer = reader.send(RUN, RUN, act="undo")
    assert "The run has been taken back." in reader.text(answer.headers["location"])
    assert "No run is reported yet" in reader.text(RUNS)
    assert reader.get(RUN).status_code == 404


@pytest.mark.parametrize(
    ("change", "field"), [({"minutes": "-5"}, "minutes"), ({"day": "2026-08-13"}, "time")]
)
def test_a_correction_that_cannot_be_right_comes_back_beside_its_field(
    service: Service, reader: Reader, change: dict[str, str], field: str
) -> None:
    run(service)
    form = {"day": "2026-07-13", "time": "05:10", "minutes": "25", "act": "save", **change}
    answer = reader.send(RUN, RUN, **form)
    assert answer.status_code == 422 and f'id="{field}-fault"' in answer.text


def test_a_file_of_runs_is_taken_whole_or_not_at_all(reader: Reader) -> None:
    table = "block,start,duration_min\nnorth,2026-07-13T05:10,40\n"
    refused = upload(reader, table + "west,2026-07-13T05:10,x\n")
    assert refused.status_code == 422
    assert "line 3, column duration_min" in refused.text
    assert "No run is reported yet" in reader.text(RUNS)
    taken = upload(reader, table)
    assert "The runs of the file are saved." in reader.text(taken.headers["location"])
    assert "40 min" in reader.text(RUNS)
    assert upload(reader, "").status_code == 422


def test_faults_of_a_file_are_in_the_readers_language(reader: Reader) -> None:
    reader.headers = {"Accept-Language": "es"}
    shown = upload(
        reader, "block,start,duration_min\nnorth,ayer,40\nnorth,2026-07-13T05:10,x\n"
    ).text
    assert "línea 2, columna start" in shown and "línea 3, columna duration_min" in shown
    assert "allowed" not in shown and "a time such as" not in shown and "a number from" not in shown


def test_who_may_only_read_sees_no_form(service: Service) -> None:
    run(service)
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, Right.PLAN_READ))
    for page in (LOG, RUNS):
        assert f'action="{page}"' not in reader.text(page)
    assert reader.get(RUN).status_code == 403


@pytest.mark.parametrize(
    ("address", "heading"),
    [
        (f"{RUNS}.xlsx", "Start"),
        (f"{LOG}.xlsx", "What happened"),
        (f"/farms/{FARM_ID}/plans.xlsx", "Minutes, min"),
        (f"/farms/{FARM_ID}/water-used.xlsx", "Water, gal"),
        (f"/blocks/{BLOCK_ID}/balance.xlsx", "Rain, in"),
        ("/counties.xlsx", "Net need, in"),
    ],
)
def test_a_table_is_given_as_a_spreadsheet_and_as_csv(
    service: Service, reader: Reader, address: str, heading: str
) -> None:
    run(service)
    answer = reader.get(address)
    assert answer.status_code == 200, answer.text[:500]
    assert answer.headers["content-type"].endswith("spreadsheetml.sheet")
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    headings = [cell.value for cell in book.worksheets[0][1]]
    assert heading in headings
    assert book.worksheets[0].max_row > 1 and book.worksheets[1].title == "Notes"
    if "counties" not in address:
        table = reader.get(address.replace(".xlsx", ".csv"))
        assert heading in table.text.splitlines()[0]
        assert table.headers["content-disposition"].endswith('.csv"')


def test_the_runs_of_a_spreadsheet_are_dates_and_numbers(service: Service, reader: Reader) -> None:
    run(service)
    sheet = openpyxl.load_workbook(io.BytesIO(reader.get(f"{RUNS}.xlsx").content)).worksheets[0]
    row = {sheet.cell(1, place).value: sheet.cell(2, place).value for place in range(1, 10)}
    assert row["Day"] == datetime(2026, 7, 13)  # noqa: DTZ001 - a cell has no zone
    assert row["Start"] == datetime(2026, 7, 13, 5, 10)  # noqa: DTZ001 - a cell has no zone
    assert row["Minutes, min"] == 40


def test_no_other_kind_of_file_and_no_other_farm_is_there(service: Service) -> None:
    reader = Reader(create_app(service))
    assert reader.get(f"{RUNS}.pdf").status_code == 404
    reader.sign_in(key_for(service, Right.PLAN_READ, farm_id="later-farm"))
    for address in (LOG, RUNS, f"{RUNS}.csv", RUN, f"/blocks/{BLOCK_ID}/balance.xlsx"):
        assert reader.get(address).status_code == 404
