"""How fast and how exact the rope is, beside general libraries, in one run.

One side of an invented line (2.92 km, 607 m, 20 supports, a carrier every 23 m),
tension held at the return station; and the demo's envelope, as a plan needs it.

`rope.side_us`: one side and state, over 200 stops x 4 loads, the way the envelope
does it. `rope.vs_scipy`, `rope.vs_moorpy`: so many times faster than scipy's brentq
span by span, and than a mooring-line library that starts 10 mm from the answer, each
against one side from a cold start; `rope.max_dev_m` and `rope.moorpy_dev_m` are the
greatest differences in a carrier's place. `rope.ode_dev_m`: against DOP853.
"""

from __future__ import annotations

import contextlib
import io
import math
import sys
import time
from pathlib import Path

import numba
import numpy as np
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).parents[1]))

from ode_line import integrate_line
from trial_lines import EMPTY_N, FULL_N, crest_line, loads_of

from evac.heights.envelope import find_heights
from evac.inputs.folder import open_lift
from evac.line import lay_out
from evac.rope.kernel import solve_state
from evac.rope.rules import hold_return
from evac.rope.side import SideLoads, SidePoints, SideState, solve_side

TENSION_N = 250e3
DEMO = Path(__file__).parents[2] / "data_demo" / "larkfell_four"


def run() -> dict[str, float]:
    """Every measure of the rope; see the words behind each."""
    points = crest_line()
    found: dict[str, float] = {}
    found["rope.side_us"], found["rope.residual_n"] = _side_us(points, 23.0)
    for supports in (10, 20, 40):
        line = crest_line(supports=supports)
        found[f"rope.side_{supports}_supports_us"] = _side_us(line, 23.0)[0]
    for carriers in (60, 130, 260):
        found[f"rope.side_{carriers}_carriers_us"] = _side_us(
            points, 2983.0 / carriers
        )[0]
    found |= _beside_scipy(points)
    found |= _beside_moorpy(points)
    found["rope.ode_dev_m"] = _ode_dev_m(points)
    return found | _envelope()


def _envelope() -> dict[str, float]:
    """The demo's envelope: processor seconds on one core, compiled, best of three."""
    lift = open_lift(DEMO)
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    taken = []
    for _ in range(3):
        started = time.process_time()
        find_heights(lift, line)
        taken.append(time.process_time() - started)
    return {
        "envelope.s": min(taken),
        "envelope.states": heights.states_solved,
        "envelope.residual_n": heights.greatest_residual_n,
    }


def _load_cases(count: int) -> np.ndarray:
    cases = np.full((4, count), EMPTY_N)
    cases[0] = FULL_N
    cases[1, : count // 2] = FULL_N
    cases[2, np.arange(count) % 10 < 5] = FULL_N
    return cases


def _side_us(points: SidePoints, spacing: float) -> tuple[float, float]:
    """Microseconds a state over 200 stops x 4 load cases, best of 5; worst residual."""
    stops = np.linspace(0, spacing, 200, endpoint=False)
    cases = _load_cases(int(4000 / spacing))
    given = (
        *(points.x_m, points.z_m, points.senses),
        *(points.weight_n_per_m, points.compliance_per_n),
        *(stops, spacing, cases, hold_return(TENSION_N)),
    )
    worst = _all_states(*given)
    times = []
    for _ in range(5):
        started = time.perf_counter()
        _all_states(*given)
        times.append(time.perf_counter() - started)
    return min(times) / (stops.size * len(cases)) * 1e6, worst


@numba.njit
def _all_states(x, z, sense, w, c, stops, spacing, cases, rule):
    n = x.size
    carriers = np.empty((4, cases.shape[1]))
    supports = np.empty((6, n))
    totals = np.zeros(10)
    frictionless = np.zeros(n)
    worst = 0.0
    for i in range(len(cases)):
        warm = np.full(n + 1, np.nan)
        active = np.ones(n, np.bool_)
        for stop in stops:
            status = solve_state(
                x, z, sense, w, c, frictionless, stop, spacing, cases[i], rule, warm,
                active, carriers, supports, totals,
            )  # fmt: skip
            worst = max(worst, totals[3]) if status == 0 else np.inf
    return worst


def _beside_scipy(points: SidePoints) -> dict[str, float]:
    """The same states solved by scipy's brentq, span by span, in plain Python."""
    worst = 0.0
    theirs = ours = 0.0
    for case in _load_cases(170):
        for phase in (2.0, 9.5, 17.0):
            loads = SideLoads(phase_m=phase, spacing_m=23.0, load_n=case)
            started = time.perf_counter()
            x, z = _scipy_side(points, loads)
            theirs += time.perf_counter() - started
            state = solve_side(points, loads, return_tension_n=TENSION_N)
            worst = max(worst, np.abs(x - state.x_m).max(), np.abs(z - state.z_m).max())
            # Cold, as scipy: nothing is known from a similar state.
            ours += _cold_s(points, loads)
    return {"rope.vs_scipy": theirs / ours, "rope.max_dev_m": float(worst)}


def _cold_s(points: SidePoints, loads: SideLoads) -> float:
    n = points.x_m.size
    given = (
        *(points.x_m, points.z_m, points.senses),
        *(points.weight_n_per_m, points.compliance_per_n, np.zeros(n)),
        *(loads.phase_m, loads.spacing_m, loads.load_n, hold_return(TENSION_N)),
    )
    out = (np.empty((4, loads.load_n.size)), np.empty((6, n)), np.zeros(10))
    times = []
    for _ in range(20):
        warm, active = np.full(n + 1, np.nan), np.ones(n, np.bool_)
        started = time.perf_counter()
        solve_state(*given, warm, active, *out)
        times.append(time.perf_counter() - started)
    return min(times)


def _scipy_side(points: SidePoints, loads: SideLoads) -> tuple[np.ndarray, np.ndarray]:
    """Textbook elastic catenary, brentq for each span and for the drive tension."""
    w, c = points.weight_n_per_m, points.compliance_per_n

    def piece(h, v, length):
        v1 = v + w * length
        dx = h / w * (math.asinh(v1 / h) - math.asinh(v / h)) + h * length * c
        dz = (math.hypot(h, v1) - math.hypot(h, v)) / w
        return dx, dz + length * (v + v1) / 2 * c, v1

    def short(length, run, h, v):
        return piece(h, v, length)[0] - run

    def span(angle, tension, run, gap, k):
        h, v = tension * math.cos(angle), tension * math.sin(angle)
        x = z = 0.0
        places = []
        while True:
            dx, dz, v1 = piece(h, v, gap)
            if x + dx > run:
                last = brentq(short, 0, gap, args=(run - x, h, v), xtol=1e-13)
                _, dz, v1 = piece(h, v, last)
                return z + dz, math.hypot(h, v1), gap - last, k, places
            x, z, v = x + dx, z + dz, v1 + loads.load_n[k]
            places.append((x, z))
            k += 1
            gap = loads.spacing_m

    def above(angle, rise, *start):
        return span(angle, *start)[0] - rise

    def line(tension):
        gap, k, places = loads.phase_m, 0, []
        for j in range(points.x_m.size - 1):
            run = points.x_m[j + 1] - points.x_m[j]
            rise = points.z_m[j + 1] - points.z_m[j]
            chord = math.atan2(rise, run)
            start = (tension, run, gap, k)
            angle = brentq(above, chord - 0.5, chord, args=(rise, *start), xtol=1e-15)
            _, tension, gap, k, here = span(angle, *start)
            places += [(points.x_m[j] + a, points.z_m[j] + b) for a, b in here]
        return tension, places

    drop = points.z_m[0] - points.z_m[-1]
    guess = TENSION_N + (w + loads.load_n.mean() / loads.spacing_m) * drop
    tension = brentq(
        lambda t: line(t)[0] - TENSION_N, 0.9 * guess, 1.1 * guess, xtol=1e-7
    )
    places = np.array(line(tension)[1])
    return places[:, 0], places[:, 1]


def _beside_moorpy(points: SidePoints) -> dict[str, float]:
    """A mooring-line library on the same spans, started 10 mm from the answer."""
    loads = loads_of(FULL_N)
    state = solve_side(points, loads, return_tension_n=TENSION_N)
    spent, converged, worst = 0.0, 0, 0.0
    spans = points.x_m.size - 1
    for j in range(spans):
        system, inner = _moorpy_span(points, loads, state, j)
        started = time.perf_counter()
        # It talks to the screen where it does not converge.
        with contextlib.redirect_stdout(io.StringIO()):
            try:
                system.initialize()
                good = system.solveEquilibrium(tol=1e-7)
            except Exception:
                good = False
        spent += time.perf_counter() - started
        here = np.flatnonzero(state.span == j)
        places = np.array(
            [system.pointList[1 + i].r[[0, 2]] + (0, 3000) for i in range(inner)]
        )
        if inner and good:
            away = np.abs(
                places - np.column_stack([state.x_m[here], state.z_m[here]])
            ).max()
            worst = max(worst, away)
        converged += bool(good or not inner)
    return {
        "rope.vs_moorpy": spent / _cold_s(points, loads),
        "rope.moorpy_converged": converged,
        "rope.moorpy_spans": spans,
        "rope.moorpy_dev_m": worst,
    }


def _moorpy_span(points: SidePoints, loads: SideLoads, state: SideState, j: int):
    import moorpy

    system = moorpy.System(depth=1e4)
    system.lineTypes["rope"] = {
        "name": "rope",
        "d_vol": 0.0,  # displaces no water
        "m": points.weight_n_per_m / 9.81,
        "w": points.weight_n_per_m,
        "EA": points.axial_stiffness_n,
        "material": "rope",
        "input_d": 0.04,
    }
    here = np.flatnonzero(state.span == j)
    places = [
        (points.x_m[j], points.z_m[j] - 3000),
        *((state.x_m[i], state.z_m[i] - 3000) for i in here),
        (points.x_m[j + 1], points.z_m[j + 1] - 3000),
    ]
    for number, (x, z) in enumerate(places):
        inner = 0 < number < len(places) - 1
        system.addPoint(
            0 if inner else 1,
            [x, 0, z - 0.01 * inner],
            m=loads.load_n[here[number - 1]] / 9.81 if inner else 0,
            DOFs=[0, 2],
        )
    for number, length in enumerate(_lengths(points, loads, state, j)):
        system.addLine(length, "rope", pointA=number + 1, pointB=number + 2)
    return system, here.size


def _lengths(
    points: SidePoints, loads: SideLoads, state: SideState, j: int
) -> list[float]:
    """Unstretched lengths of a span's pieces, from the solution."""
    from evac.rope.segment import length_of

    w, c = points.weight_n_per_m, points.compliance_per_n
    h = float(state.horizontal_tension_n[j])
    v = h * math.tan(float(state.start_angle_rad[j]))
    here = np.flatnonzero(state.span == j)
    stops = [points.x_m[j], *state.x_m[here], points.x_m[j + 1]]
    found = []
    for number in range(len(stops) - 1):
        run = stops[number + 1] - stops[number]
        found.append(length_of(run, h, v, math.hypot(h, v), w, c))
        v += w * found[-1]
        if number < here.size:
            v += loads.load_n[here[number]]
    return found


def _ode_dev_m(points: SidePoints) -> float:
    loads = loads_of(FULL_N, phase_m=7.3)
    state = solve_side(points, loads, return_tension_n=TENSION_N)
    line = integrate_line(points, loads, state)
    return float(
        max(
            np.abs(line.x_m - state.x_m).max(),
            np.abs(line.z_m - state.z_m).max(),
            np.abs(line.support_miss_m).max(),
        )
    )
