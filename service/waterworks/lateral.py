"""One drip lateral: pressure and flow at each emitter, and how uniform they are.

In: a :class:`Lateral` (tube, emitters, profile of the ground) and the pressure head at its inlet.
Out: head and flow of every emitter, inlet flow and uniformities (:class:`LateralFlow`), or the
same for many laterals at once (:class:`LateralFlows`). The lateral is marched through from its far
end, whose head is found such that the inlet gets its own: no emitter is averaged away, as it would
be with a friction reduction factor. Friction: Darcy-Weisbach with the friction factor of EPANET 2.2
(Rossman et al. 2020, EPA/600/R-20/133) or Hazen-Williams. Emitters: Keller and Karmeli 1974.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.errors import Fault, InputInvalid
from service.waterworks.records import Floats, Ints
from service.waterworks.uniformity import design_uniformity_pct, low_quarter_uniformity_pct

GRAVITY_M_S2 = 9.80665  # [m/s2] standard gravity; EPANET has 32.2 ft/s2, 0.08 % less friction
WATER_VISCOSITY_M2_S = 1.022e-6  # [m2/s] water of 20 degC; EPANET's default, 1.1e-5 ft2/s
SMOOTH_PLASTIC_ROUGHNESS_MM = 0.0015  # [mm] EPANET 2.2 manual, Tab. 3.2, plastic
SMOOTH_PLASTIC_HAZEN_WILLIAMS = 150.0  # [-] common practice; too smooth below Reynolds 10,000
ORIFICE_EXPONENT = 0.5  # [-] Keller and Karmeli 1974
LEAST_WORKING_HEAD_M = 0.1  # [m] below it no labyrinth works; a modelling choice, no source
LONGEST_SEARCH_COUNT = 1000  # [-] emitters up to which a longest row is looked for
FLAT: tuple[tuple[float, float], ...] = ((0.0, 0.0),)


class FrictionLaw(enum.StrEnum):
    """The law by which pipe friction is computed."""

    DARCY_WEISBACH = "darcy-weisbach"
    HAZEN_WILLIAMS = "hazen-williams"


@dataclass(frozen=True, slots=True)
class Emitter:
    """An emitter's law: flow = nominal flow (head / nominal head)^exponent.

    Between the two ends of a compensating range the law holds; outside of it the emitter acts as an
    orifice through the end of the range (common practice, no source).
    """

    nominal_flow_l_per_h: float
    nominal_head_m: float = 10.0
    flow_exponent: float = ORIFICE_EXPONENT
    compensates_from_head_m: float | None = None
    """Lower end of the range; none: 0.1 m below exponent 0.5, otherwise no lower end."""
    compensates_to_head_m: float | None = None
    """Upper end of the range; none: no upper end."""
    manufacturer_variation_ratio: float = 0.0
    """Coefficient of variation of new emitters at one pressure, Cv."""

    @property
    def flow_coefficient(self) -> float:
        """Flow in L/h at one metre of head by the law, k."""
        return self.nominal_flow_l_per_h / math.pow(self.nominal_head_m, self.flow_exponent)

    @property
    def lowest_working_head_m(self) -> float:
        """Head below which the emitter acts as an orifice."""
        if self.compensates_from_head_m is not None:
            return self.compensates_from_head_m
        return LEAST_WORKING_HEAD_M if self.flow_exponent < ORIFICE_EXPONENT else 0.0

    @property
    def highest_working_head_m(self) -> float:
        """Head above which the emitter acts as an orifice."""
        return math.inf if self.compensates_to_head_m is None else self.compensates_to_head_m


@dataclass(frozen=True, slots=True)
class Pipe:
    """The inside of a pipe, as its friction sees it."""

    inner_diameter_mm: float
    friction_law: FrictionLaw = FrictionLaw.DARCY_WEISBACH
    roughness_mm: float = SMOOTH_PLASTIC_ROUGHNESS_MM
    """For Darcy-Weisbach."""
    hazen_williams_coefficient: float = SMOOTH_PLASTIC_HAZEN_WILLIAMS
    """For Hazen-Williams, C."""
    viscosity_m2_s: float = WATER_VISCOSITY_M2_S

    @property
    def section_m2(self) -> float:
        """Area that the water flows through."""
        return math.pi / 4.0 * (self.inner_diameter_mm / 1000.0) ** 2


@dataclass(frozen=True, slots=True)
class Lateral:
    """One drip line from its inlet to its closed end."""

    emitter: Emitter
    pipe: Pipe
    emitter_count: int
    emitter_spacing_m: float
    first_segment_m: float | None = None
    """From the inlet to the first emitter; none: one spacing."""
    connection_length_m: float = 0.0
    """Length of plain tube with the friction of one emitter's barb or body; 0 to 0.3 m."""
    profile: tuple[tuple[float, float], ...] = FLAT
    """Ground along the row as (distance_m, elevation_m); beyond the last point its slope goes
    on.
    """
    emitters_per_plant_count: float = 1.0

    @property
    def inlet_segment_m(self) -> float:
        """From the inlet to the first emitter."""
        return self.emitter_spacing_m if self.first_segment_m is None else self.first_segment_m

    @property
    def length_m(self) -> float:
        """From the inlet to the last emitter."""
        return self.inlet_segment_m + (self.emitter_count - 1) * self.emitter_spacing_m


@dataclass(frozen=True, slots=True)
class LateralFlow:
    """One solved lateral; arrays (emitters,) from the inlet on."""

    inlet_head_m: float
    inlet_flow_l_per_h: float
    emitter_flow_l_per_h: Floats
    """0 for each emitter that water does not reach."""
    emitter_head_m: Floats
    """Pressure head; 0 for each emitter that water does not reach."""
    reached_emitter_count: int
    """Emitters from the inlet on that water reaches."""
    lowest_over_mean_ratio: float
    design_uniformity_pct: float
    """EU by Keller and Karmeli: pressure and manufacturing together; 0 if an emitter is dry."""
    low_quarter_uniformity_pct: float
    """DU of the hydraulic flows alone."""

    @property
    def first_dry_emitter(self) -> int | None:
        """Number, counted from 1, of the emitter from which on nothing flows; none if all do."""
        if self.reached_emitter_count == self.emitter_flow_l_per_h.size:
            return None
        return self.reached_emitter_count + 1


@dataclass(frozen=True, slots=True)
class LateralFlows:
    """Many solved laterals; arrays (laterals,) and (laterals, emitters), NaN beyond a shorter one's
    last emitter.
    """

    inlet_head_m: Floats
    inlet_flow_l_per_h: Floats
    emitter_flow_l_per_h: Floats
    emitter_head_m: Floats
    reached_emitter_count: Ints
    lowest_over_mean_ratio: Floats
    design_uniformity_pct: Floats
    low_quarter_uniformity_pct: Floats


@dataclass(frozen=True, slots=True)
class LongestRow:
    """The longest lateral that is still uniform enough."""

    emitter_count: int
    """0 if not even one emitter is."""
    length_m: float
    design_uniformity_pct: float
    """NaN if there is none."""
    is_search_limit: bool
    """The search ended at its own limit; a longer row may do as well."""


def emitter_flow_l_per_h(emitter: Emitter, head_m: ArrayLike) -> Floats:
    """Flow of an emitter under a pressure head.

    Shapes: head_m any; the result has its shape.
    Returns: flow [L/h], 0 without pressure; NaN wherever the head is NaN.
    Equation: q = k H^x within the working range, q ~ H^0.5 outside. Keller and Karmeli 1974; the
    orifice outside the range is common practice, no source.
    >>> [round(float(q), 4) for q in emitter_flow_l_per_h(Emitter(2.0), [8.0, 12.0])]
    [1.7889, 2.1909]
    """
    head = np.asarray(head_m, dtype=np.float64)
    wet = np.where(head > 0.0, head, np.where(np.isnan(head), np.nan, 1.0))
    law_head = np.clip(wet, emitter.lowest_working_head_m, emitter.highest_working_head_m)
    flow = emitter.flow_coefficient * law_head**emitter.flow_exponent
    return np.asarray(np.where(head <= 0.0, 0.0, flow * np.sqrt(wet / law_head)))


def solve_lateral(lateral: Lateral, inlet_head_m: float) -> LateralFlow:
    """Pressure and flow of every emitter of one lateral.

    Shapes: result arrays (emitters,).
    inlet_head_m: pressure head in the lateral just after its connection [m].
    Returns: a solution for any inlet head; emitters that water does not reach have flow 0.
    Equation: H(i-1) = H(i) + J(Q) (S + connection) + rise, Q = sum of k H^x downstream; solved for
    the last head. Keller and Karmeli 1974; friction h = f v^2 / (2 g D), f = 64 / Re up to 2000,
    Swamee and Jain from 4000, a cubic between: EPANET 2.2; or Hazen-Williams.
    Raises: InputInvalid for a lateral that cannot be built.
    >>> solved = solve_lateral(Lateral(Emitter(2.0), Pipe(16.0), 100, 0.46), 10.0)
    >>> [round(float(solved.emitter_flow_l_per_h[place]), 3) for place in (0, -1)]
    [2.0, 1.986]
    """
    solved = solve_laterals([lateral], inlet_head_m)
    return LateralFlow(
        inlet_head_m=float(solved.inlet_head_m[0]),
        inlet_flow_l_per_h=float(solved.inlet_flow_l_per_h[0]),
        emitter_flow_l_per_h=solved.emitter_flow_l_per_h[0],
        emitter_head_m=solved.emitter_head_m[0],
        reached_emitter_count=int(solved.reached_emitter_count[0]),
        lowest_over_mean_ratio=float(solved.lowest_over_mean_ratio[0]),
        design_uniformity_pct=float(solved.design_uniformity_pct[0]),
        low_quarter_uniformity_pct=float(solved.low_quarter_uniformity_pct[0]),
    )


def solve_laterals(laterals: Sequence[Lateral], inlet_head_m: ArrayLike) -> LateralFlows:
    """Pressure and flow of every emitter of many laterals, each on its own.

    Shapes: inlet_head_m a number or (laterals,); results (laterals,) and (laterals, emitters).
    Returns: as :func:`solve_lateral`, row by row; NaN beyond a shorter lateral's last emitter.
    Equation: as :func:`solve_lateral`.
    Raises: InputInvalid for a lateral that cannot be built.
    >>> line = Lateral(Emitter(2.0), Pipe(16.0), 100, 0.46)
    >>> solve_laterals([line, line], [10.0, 0.0]).inlet_flow_l_per_h.round(1).tolist()
    [198.9, 0.0]
    """
    head = np.broadcast_to(np.asarray(inlet_head_m, dtype=np.float64), (len(laterals),)).copy()
    if not np.all(np.isfinite(head)):
        raise InputInvalid(
            "the inlet head cannot be used", [Fault("inlet_head_m", str(inlet_head_m), "a number")]
        )
    rows, rise_m = lateral_rows(laterals)
    solution = np.full((len(laterals), 2, rise_m.shape[1]), np.nan)
    from service.waterworks.lateral_kernel import solve_rows

    reached = solve_rows(rows, rise_m, head, solution)
    flow = solution[:, 1]
    # Row by row, so that padding leaves no trace in the last digit of a sum.
    own_flows = [row[: line.emitter_count] for row, line in zip(flow, laterals, strict=True)]
    ratio = np.array([lowest_over_mean(own) for own in own_flows])
    return LateralFlows(
        inlet_head_m=head,
        inlet_flow_l_per_h=np.array([own.sum() for own in own_flows]),
        emitter_flow_l_per_h=flow,
        emitter_head_m=solution[:, 0],
        reached_emitter_count=reached,
        lowest_over_mean_ratio=ratio,
        design_uniformity_pct=design_uniformity_pct(
            ratio,
            np.array([line.emitter.manufacturer_variation_ratio for line in laterals]),
            np.array([line.emitters_per_plant_count for line in laterals]),
        ),
        low_quarter_uniformity_pct=np.array(
            [float(low_quarter_uniformity_pct(own)) if own.any() else 0.0 for own in own_flows]
        ),
    )


def longest_row(
    lateral: Lateral,
    inlet_head_m: float,
    target_uniformity_pct: float,
    *,
    search_limit_count: int = LONGEST_SEARCH_COUNT,
) -> LongestRow:
    """The longest row of this lateral whose design uniformity still reaches a target.

    Shapes: numbers.
    lateral: its own emitter count does not matter; its profile is followed as far as needed.
    target_uniformity_pct: EU by Keller and Karmeli, above 0 to 100.
    Returns: the largest count of emitters that meets the target. On falling ground a shorter row
    may miss it and a longer one, whose friction makes up for the fall, meet it; so every count is
    tried.
    Equation: EU of :func:`solve_lateral`, count by count.
    Raises: InputInvalid for a lateral that cannot be built, or a target outside its range.
    >>> longest_row(Lateral(Emitter(2.0), Pipe(16.0), 1, 0.46), 10.0, 90.0).emitter_count > 300
    True
    """
    if not (0.0 < target_uniformity_pct <= 100.0 and math.isfinite(inlet_head_m)):
        found = f"{target_uniformity_pct} at {inlet_head_m} m"
        raise InputInvalid(
            "no row can be looked for",
            [Fault("target_uniformity_pct", found, "above 0 to 100 percent, at a finite head")],
        )
    longest = Lateral(
        emitter=lateral.emitter,
        pipe=lateral.pipe,
        emitter_count=search_limit_count,
        emitter_spacing_m=lateral.emitter_spacing_m,
        first_segment_m=lateral.first_segment_m,
        connection_length_m=lateral.connection_length_m,
        profile=lateral.profile,
        emitters_per_plant_count=lateral.emitters_per_plant_count,
    )
    rows, rise_m = lateral_rows([longest])
    ratio = np.zeros(search_limit_count)
    from service.waterworks.lateral_kernel import scan_lengths

    tried = scan_lengths(rows[0], rise_m[0], inlet_head_m, np.empty((2, search_limit_count)), ratio)
    uniformity_pct = design_uniformity_pct(
        ratio[:tried],
        lateral.emitter.manufacturer_variation_ratio,
        lateral.emitters_per_plant_count,
    )
    enough = np.flatnonzero(uniformity_pct >= target_uniformity_pct)
    if enough.size == 0:
        return LongestRow(0, 0.0, math.nan, False)
    count = int(enough[-1]) + 1
    return LongestRow(
        emitter_count=count,
        length_m=lateral.inlet_segment_m + (count - 1) * lateral.emitter_spacing_m,
        design_uniformity_pct=float(uniformity_pct[count - 1]),
        is_search_limit=count == search_limit_count,
    )


def lowest_over_mean(flow: Floats) -> float:
    """Lowest over mean flow of emitters; 0 where nothing flows.

    Shapes: flow (emitters,).
    Returns: ratio [-], 0 to 1.
    Equation: q_min / q_avg of Keller and Karmeli 1974.
    >>> lowest_over_mean(np.array([1.0, 3.0]))
    0.5
    """
    mean = float(flow.mean())
    return min(1.0, float(flow.min()) / mean) if mean > 0.0 else 0.0


def rise_along_m(profile: Sequence[tuple[float, float]], distance_m: ArrayLike) -> Floats:
    """How far the ground lies above the start of a profile, at distances along it.

    Shapes: distance_m any; the result has its shape.
    profile: points (distance_m, elevation_m) by rising distance, the first at 0; straight between
    them, and beyond the last point its slope goes on; one point alone is level ground.
    Returns: rise [m], negative downhill.
    Equation: straight lines between the points.
    >>> rise_along_m([(0.0, 100.0), (50.0, 99.0)], np.array([25.0, 100.0])).tolist()
    [-0.5, -2.0]
    """
    points = np.asarray(profile, dtype=np.float64)
    along, height = points[:, 0], points[:, 1] - points[0, 1]
    distance = np.asarray(distance_m, dtype=np.float64)
    rise = np.interp(distance, along, height)
    if len(points) > 1:
        slope = (height[-1] - height[-2]) / (along[-1] - along[-2])
        rise = rise + slope * np.maximum(distance - along[-1], 0.0)
    return np.asarray(rise)


def lateral_rows(laterals: Sequence[Lateral]) -> tuple[NDArray[np.void], Floats]:
    """The records and rises that the compiled solvers read.

    Shapes: records (laterals,); rises (laterals, most emitters), NaN beyond a shorter one's last.
    Returns: a record and the rise of each emitter above the inlet [m], for each lateral.
    Equation: distance of emitter i from the inlet = first segment + i spacing, i from 0.
    Raises: InputInvalid with every fault of every lateral that cannot be built.
    >>> lateral_rows([Lateral(Emitter(2.0), Pipe(16.0), 3, 0.5)])[1].tolist()
    [[0.0, 0.0, 0.0]]
    """
    if not laterals:
        raise InputInvalid("there is no lateral", [Fault("laterals", "none", "one or more")])
    from service.waterworks.lateral_kernel import LATERAL_ROW

    rows = np.zeros(len(laterals), dtype=LATERAL_ROW)
    rise_m = np.full((len(laterals), max(1, *(line.emitter_count for line in laterals))), np.nan)
    last: Lateral | None = None
    for index, line in enumerate(laterals):
        if line is last:  # a block's rows are mostly the same object
            rows[index] = rows[index - 1]
            rise_m[index] = rise_m[index - 1]
            continue
        _check_lateral(line, f"lateral {index + 1}" if len(laterals) > 1 else "lateral")
        _write_row(rows, index, line)
        distance_m = line.inlet_segment_m + line.emitter_spacing_m * np.arange(line.emitter_count)
        rise_m[index, : line.emitter_count] = rise_along_m(line.profile, distance_m)
        last = line
    return rows, rise_m


def pipe_faults(pipe: Pipe, where: str) -> list[Fault]:
    """Faults of a pipe, each with its place; none if it can be built.

    Shapes: one pipe.
    Returns: faults, empty where there is none.
    Source: the limits are modelling choices, no source; roughness at most D / 20.
    >>> pipe_faults(Pipe(16.0), "pipe")
    []
    """
    limits = {
        "inner_diameter_mm": (pipe.inner_diameter_mm, 1.0, 2000.0),
        "roughness_mm": (pipe.roughness_mm, 0.0, pipe.inner_diameter_mm / 20.0),
        "hazen_williams_coefficient": (pipe.hazen_williams_coefficient, 40.0, 200.0),
        "viscosity_m2_s": (pipe.viscosity_m2_s, 2e-7, 2e-5),
    }
    return faults_outside(where, limits)


def profile_faults(profile: Sequence[tuple[float, float]], where: str) -> list[Fault]:
    """Faults of a ground profile; none if it can be used.

    Shapes: points (distance_m, elevation_m).
    Returns: faults, empty where there is none.
    >>> profile_faults(((0.0, 5.0), (10.0, 5.1)), "profile")
    []
    """
    points = np.asarray(profile, dtype=np.float64)
    is_usable = points.ndim == 2 and points.shape[0] > 0 and points.shape[1] == 2
    if is_usable:
        is_usable = bool(
            np.all(np.isfinite(points))
            and points[0, 0] == 0.0
            and np.all(np.diff(points[:, 0]) > 0)
        )
    if is_usable:
        return []
    allowed = "points (distance m, elevation m) by rising distance, the first at distance 0"
    return [Fault(f"{where}: profile", str(tuple(profile))[:80], allowed)]


def faults_outside(where: str, limits: dict[str, tuple[float, float, float]]) -> list[Fault]:
    """A fault for each named value that is not within its two limits.

    Shapes: name to (value, least, most).
    Returns: faults, empty where there is none; NaN is outside of everything.
    >>> faults_outside("pipe", {"inner_diameter_mm": (16.0, 1.0, 2000.0)})
    []
    """
    return [
        Fault(f"{where}: {name}", f"{value:g}", f"{least:g} to {most:g}")
        for name, (value, least, most) in limits.items()
        if not least <= value <= most
    ]


def _check_lateral(line: Lateral, where: str) -> None:
    emitter = line.emitter
    most = math.inf
    limits = {
        "emitter_count": (line.emitter_count, 1, 100_000),
        "emitter_spacing_m": (line.emitter_spacing_m, 0.01, 100.0),
        "first_segment_m": (line.inlet_segment_m, 0.0, 10_000.0),
        "connection_length_m": (line.connection_length_m, 0.0, 10.0),
        "emitters_per_plant_count": (line.emitters_per_plant_count, 1.0, 1000.0),
        "nominal_flow_l_per_h": (emitter.nominal_flow_l_per_h, 0.01, 1000.0),
        "nominal_head_m": (emitter.nominal_head_m, 0.1, 200.0),
        "flow_exponent": (emitter.flow_exponent, 0.0, 1.0),
        "manufacturer_variation_ratio": (emitter.manufacturer_variation_ratio, 0.0, 1.0),
        "compensates_from_head_m": (emitter.lowest_working_head_m, 0.0, 200.0),
        "compensates_to_head_m": (
            emitter.highest_working_head_m,
            max(emitter.lowest_working_head_m, 0.01),
            most,
        ),
    }
    faults = faults_outside(where, limits)
    faults += pipe_faults(line.pipe, where) + profile_faults(line.profile, where)
    if faults:
        raise InputInvalid("the lateral cannot be built", faults)


def _write_row(rows: NDArray[np.void], index: int, line: Lateral) -> None:
    write_pipe(rows, index, line.pipe)
    rows["emitter_count"][index] = line.emitter_count
    rows["emitter_spacing_m"][index] = line.emitter_spacing_m
    rows["first_segment_m"][index] = line.inlet_segment_m
    rows["connection_length_m"][index] = line.connection_length_m
    rows["flow_coefficient"][index] = line.emitter.flow_coefficient
    rows["flow_exponent"][index] = line.emitter.flow_exponent
    rows["compensates_from_head_m"][index] = line.emitter.lowest_working_head_m
    rows["compensates_to_head_m"][index] = line.emitter.highest_working_head_m


def write_pipe(rows: NDArray[np.void], index: int, pipe: Pipe) -> None:
    """Write a pipe's friction terms into a record of the compiled solvers.

    Shapes: rows (pipes,).
    Returns: nothing; the record at the index is changed.
    Equation: 8 / (g pi^2 D^5) for Darcy-Weisbach, 10.67 / (C^1.852 D^4.871) for Hazen-Williams.
    >>> from service.waterworks.lateral_kernel import LATERAL_ROW
    >>> rows = np.zeros(1, dtype=LATERAL_ROW)
    >>> write_pipe(rows, 0, Pipe(1000.0))
    >>> float(rows["resistance"][0])  # 8 / (9.80665 * 9.8696)
    0.08266
    """
    diameter_m = pipe.inner_diameter_mm / 1000.0
    rows["viscous_flow_m3_s"][index] = pipe.viscosity_m2_s * diameter_m
    rows["relative_roughness"][index] = pipe.roughness_mm / pipe.inner_diameter_mm
    rows["is_hazen_williams"][index] = pipe.friction_law is FrictionLaw.HAZEN_WILLIAMS
    if pipe.friction_law is FrictionLaw.HAZEN_WILLIAMS:
        rows["resistance"][index] = 10.67 / (
            pipe.hazen_williams_coefficient**1.852 * diameter_m**4.871
        )
    else:
        rows["resistance"][index] = 8.0 / (GRAVITY_M_S2 * math.pi**2 * diameter_m**5)
