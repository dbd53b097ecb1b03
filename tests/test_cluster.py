"""Studies on a cluster give what they give here; what cannot be used is named."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from distributed import LocalCluster
from distributed.client import Client

from service import cluster
from service.agronomy.records import Days, Floats
from service.bootstrap import make_study_runner
from service.cluster import Cluster, parse_cluster
from service.errors import SettingsInvalid, WeatherInvalid
from service.operations.run_here import RunHere
from service.operations.waterworks.assess_capacity import Capacity, assess_capacity, run_count
from service.records.farms import FarmBundle
from service.records.studies import Study, Tick
from service.settings import Settings
from tests.invented_summers import FIRST_YEAR, invented_farm, invented_weather
from tests.patience import PATIENCE_S


@pytest.fixture(scope="module")
def scheduler() -> Iterator[Any]:
    """A scheduler with two workers."""
    with started(2) as running:
        yield running


def started(count: int) -> Any:
    """A scheduler with workers that are threads of this process and are spoken to by TCP."""
    make: Any = LocalCluster
    return make(
        n_workers=count, threads_per_worker=1, processes=False, protocol="tcp://",
        host="127.0.0.1", dashboard_address="127.0.0.1:0",
    )  # fmt: skip


@pytest.fixture
def remote(scheduler: Any) -> Cluster:
    return parse_cluster(scheduler.scheduler_address)


def summers(count: int) -> tuple[Days, dict[str, Floats]]:
    """The first of the invented years."""
    days, fields = invented_weather()
    some = days < np.datetime64(date(FIRST_YEAR + count, 1, 1))
    return days[some], {name: values[some] for name, values in fields.items()}


def two_supplies() -> FarmBundle:
    """The invented farm twice, with a pump of its own each."""
    farm = invented_farm()
    (supply,) = farm.supplies
    second = replace(supply, supply_id="second", flow_l_per_h=supply.flow_l_per_h * 0.6)
    others = [
        replace(block, block_id=f"{block.block_id}-2", supply_id="second") for block in farm.blocks
    ]
    return replace(farm, supplies=(supply, second), blocks=(*farm.blocks, *others))


def assert_same(one: Capacity, other: Capacity) -> None:
    assert (one.left_out, one.cautions) == (other.left_out, other.cautions)
    for here, there in zip(one.supplies, other.supplies, strict=True):
        assert here.changes == there.changes
        assert here.supply_id == there.supply_id
        for summer, same in zip(here.summers, there.summers, strict=True):
            np.testing.assert_array_equal(summer.largest_excess_mm, same.largest_excess_mm)


def test_supplies_on_a_cluster_come_out_as_here_to_the_last_bit(remote: Cluster) -> None:
    days, fields = summers(1)
    heard: list[int] = []
    there = assess_capacity(two_supplies(), days, fields, runner=remote, progress=heard.append)
    assert_same(assess_capacity(two_supplies(), days, fields), there)
    assert heard[-1] == run_count(two_supplies(), days) and heard == sorted(heard)


def test_what_fails_there_is_the_error_that_it_is_here(remote: Cluster) -> None:
    days, fields = summers(1)
    spring = days < days[0] + 100
    few = {name: values[spring] for name, values in fields.items()}
    with pytest.raises(WeatherInvalid) as here:
        assess_capacity(two_supplies(), days[spring], few)
    with pytest.raises(WeatherInvalid) as there:
        assess_capacity(two_supplies(), days[spring], few, runner=remote)
    assert str(there.value) == str(here.value) and there.value.faults == here.value.faults


# --- stopping ------------------------------------------------------------------------------------

_begun = threading.Event()
_go_on = threading.Event()


def slow(_shared: None, part: int, _tick: Tick) -> int:
    _begun.set()
    assert _go_on.wait(PATIENCE_S)
    return part


def quick(shared: int, part: int, _tick: Tick) -> int:
    return shared * part


def test_a_study_that_is_stopped_takes_its_parts_back(
    remote: Cluster, scheduler: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_futures: object) -> Iterator[object]:
        assert _begun.wait(PATIENCE_S)
        raise KeyboardInterrupt

    monkeypatch.setattr("distributed.as_completed", interrupted)
    with pytest.raises(KeyboardInterrupt):
        remote.run(Study(slow, None, range(20), [1] * 20))
    _go_on.set()
    monkeypatch.undo()
    again = remote.run(Study(quick, 3, range(4), [1] * 4))
    assert again == RunHere().run(Study(quick, 3, range(4), [1] * 4)) == [0, 3, 6, 9]
    assert not scheduler.scheduler.tasks  # nothing of either is left


# --- what cannot be used -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["local", "local:", "local:0", "local:-1", "local:10000", "local:two", "ray://host:1",
     "http://host:8786", "tcp://host", "tcp://:8786", "tcp://host:0", "tcp://host:99999", "4"],
)  # fmt: skip
def test_a_cluster_that_is_none_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(SettingsInvalid) as refused:
        make_study_runner(Settings(cluster=text))
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == ("RILLWRIGHT_CLUSTER", repr(text))
    assert "local:N" in fault.allowed and "tcp://host:port" in fault.allowed


def test_without_a_setting_studies_run_here() -> None:
    assert isinstance(make_study_runner(Settings()), RunHere)


STUDY = Study(quick, 3, range(4), [1] * 4)


def refusal(runner: Cluster) -> str:
    with pytest.raises(SettingsInvalid) as refused:
        runner.run(STUDY)
    return str(refused.value)


def test_a_scheduler_that_nobody_reaches_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_TIMEOUT_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    text = refusal(parse_cluster(f"tcp://127.0.0.1:{port}"))
    assert f"tcp://127.0.0.1:{port}" in text and "a scheduler that answers" in text


def test_a_scheduler_without_workers_is_refused() -> None:
    with started(0) as empty:
        assert "no workers" in refusal(Cluster(address=empty.scheduler_address))


def test_workers_of_another_version_are_refused(
    remote: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Client, "run", lambda _client, _ask: {"tcp://a": "0.0.9"})
    assert "workers with rillwright 0.0.9" in refusal(remote)


def test_workers_with_another_dask_are_refused(
    remote: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    def differ(_client: Client, *, check: bool) -> None:
        assert check
        raise ValueError("Mismatched versions found: numpy 1.0")

    monkeypatch.setattr(Client, "get_versions", differ)
    assert "numpy 1.0" in refusal(remote)


def test_one_process_of_its_own_computes_too() -> None:
    assert parse_cluster("local:1").run(STUDY) == [0, 3, 6, 9]
