"""Laterals and blocks as EPANET networks, solved by EPANET 2.2 through wntr.

wntr wants SI throughout: the roughness in metres and the emitter coefficient in m3/s per m^x. Its
own simulator knows no emitters, so EPANET's is used; it answers in single precision.
"""

from __future__ import annotations

import importlib
import warnings
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from service.waterworks.block_hydraulics import Block
from service.waterworks.lateral import FrictionLaw, Lateral, Pipe, rise_along_m
from service.waterworks.records import Floats

M3_S_PER_L_PER_H = 1.0 / 3.6e6
GROUND_M = 100.0  # any; EPANET's elevations may stay above zero with it


def epanet_lateral(lateral: Lateral, inlet_head_m: float, folder: Path) -> tuple[Floats, Floats]:
    """Emitter flows [L/h] and pressure heads [m] of one lateral."""
    network = _network(lateral)
    network.add_reservoir("supply", base_head=GROUND_M + inlet_head_m)
    names = _add_lateral(network, lateral, "supply", GROUND_M, "e")
    return _solve(network, names, folder)


def epanet_block(block: Block, inlet_head_m: float, folder: Path) -> tuple[Floats, Floats]:
    """The same for all emitters of a block, lateral by lateral."""
    network = _network(block.laterals[0])
    network.add_reservoir("supply", base_head=GROUND_M + inlet_head_m)
    feeding, level_m = "supply", GROUND_M
    if block.submain is not None:
        level_m += block.submain.rise_m
        network.add_junction("manifold", elevation=level_m)
        _add_pipe(network, feeding, "manifold", block.submain.pipe, block.submain.length_m)
        feeding = "manifold"
    manifold = block.manifold
    distance_m = manifold.inlet_segment_m + manifold.takeoff_spacing_m * np.arange(
        block.takeoff_count
    )
    names: list[str] = []
    for takeoff, rise_m in enumerate(rise_along_m(manifold.profile, distance_m)):
        name = f"t{takeoff}"
        network.add_junction(name, elevation=level_m + float(rise_m))
        length_m = manifold.takeoff_spacing_m if takeoff else manifold.inlet_segment_m
        _add_pipe(network, feeding, name, manifold.pipe, length_m)
        sides = block.laterals_per_takeoff_count
        for side in range(sides):
            line = block.laterals[takeoff * sides + side]
            start_m = level_m + float(rise_m)
            names += _add_lateral(network, line, name, start_m, f"l{takeoff}s{side}e")
        feeding = name
    return _solve(network, names, folder)


@cache
def _wntr() -> Any:
    """The package, which takes a second to import: paid by who solves, not by who collects."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # wntr's own imports warn of what is deprecated in others
        return importlib.import_module("wntr")


def _network(lateral: Lateral) -> Any:
    network = _wntr().network.WaterNetworkModel()
    hydraulic = network.options.hydraulic
    is_hazen_williams = lateral.pipe.friction_law is FrictionLaw.HAZEN_WILLIAMS
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that the roughness means something else: it is meant to
        hydraulic.headloss = "H-W" if is_hazen_williams else "D-W"
    hydraulic.inpfile_units = "LPS"
    hydraulic.accuracy = 1e-6
    hydraulic.trials = 500
    hydraulic.viscosity = 1.0
    if lateral.emitter.flow_exponent > 0.0:
        hydraulic.emitter_exponent = lateral.emitter.flow_exponent
    network.options.time.duration = 0
    return network


def _add_lateral(network: Any, line: Lateral, start: str, start_m: float, mark: str) -> list[str]:
    distance_m = line.inlet_segment_m + line.emitter_spacing_m * np.arange(line.emitter_count)
    names = []
    for position, rise_m in enumerate(rise_along_m(line.profile, distance_m)):
        name = f"{mark}{position}"
        junction: dict[str, float] = {"elevation": start_m + float(rise_m)}
        if line.emitter.flow_exponent == 0.0:  # a flow whatever the pressure: EPANET's base demand
            junction["base_demand"] = line.emitter.nominal_flow_l_per_h * M3_S_PER_L_PER_H
        network.add_junction(name, **junction)
        if line.emitter.flow_exponent > 0.0:
            coefficient = line.emitter.flow_coefficient * M3_S_PER_L_PER_H
            network.get_node(name).emitter_coefficient = coefficient
        length_m = line.emitter_spacing_m if position else line.inlet_segment_m
        _add_pipe(network, start, name, line.pipe, length_m + line.connection_length_m)
        names.append(name)
        start = name
    return names


def _add_pipe(network: Any, start: str, end: str, pipe: Pipe, length_m: float) -> None:
    is_hazen_williams = pipe.friction_law is FrictionLaw.HAZEN_WILLIAMS
    network.add_pipe(
        f"{start}-{end}",
        start,
        end,
        length=length_m,
        diameter=pipe.inner_diameter_mm / 1000.0,
        roughness=(
            pipe.hazen_williams_coefficient if is_hazen_williams else pipe.roughness_mm / 1000.0
        ),
    )


def _solve(network: Any, names: list[str], folder: Path) -> tuple[Floats, Floats]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # wntr warns about pandas and about its own units
        result = _wntr().sim.EpanetSimulator(network).run_sim(file_prefix=str(folder / "network"))
    flow = result.node["demand"].loc[0, names].to_numpy(dtype=np.float64) / M3_S_PER_L_PER_H
    head = result.node["pressure"].loc[0, names].to_numpy(dtype=np.float64)
    return flow, head
