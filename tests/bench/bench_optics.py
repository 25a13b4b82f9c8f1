"""How fast one telescope is computed for one patient, beside a bare closed form in the same run.

Run it: ``python tests/bench/bench_optics.py``. The bare form is the same job on twenty lines of arithmetic without
guards, names or declarations. Ratios, not times, are compared: a general library of ray matrices reaches about 95 times the
bare form. The program exits with 1 when a ratio is over its limit.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from math import atan, degrees, pi, sqrt
from time import perf_counter

from afocal.core.formula import recording
from afocal.core.optics import alignment, ametropia, blur, caps, convergence, field, focus, light, telescope

FULL_MOST = 15.0
RECORDED_MOST = 3.0

M, T, D_OBJ, EYE, PUPIL, TASK = 2.5, 28.0, 24.0, 16.0, 3.0, 2400.0
CAP, R, MAR, AMPLITUDE, PD, CORNEA = 4.0, -1.5, 4.0, 1.0, 62.0, 13.0


def bare() -> tuple[float, ...]:
    """Power, pupils, three fields, clear range, refocus, cap and alignment as plain arithmetic."""
    f_obj, f_oc = T * M / (M - 1.0), T / (1.0 - M)
    exp, dxp = -T / M, D_OBJ / M
    base = T + M * EYE
    full = 2.0 * degrees(atan((D_OBJ - M * PUPIL) / (2.0 * M * base)))
    half = 2.0 * degrees(atan(D_OBJ / (2.0 * M * base)))
    total = 2.0 * degrees(atan((D_OBJ + M * PUPIL) / (2.0 * M * base)))
    apparent = 2.0 * degrees(atan(D_OBJ / (2.0 * base)))
    u = -1000.0 / TASK
    exit_d = M * M * u / (1.0 - T * M * u / 1000.0)
    delta = min(1.5, max(0.25, MAR * sqrt(10.0**0.2 - 1.0) / (0.65 * PUPIL)))
    near, far = -(AMPLITUDE + delta), delta
    near_mm = (M * M + T * M * near / 1000.0) / -near * 1000.0
    u_near, u_far = near / (M * M + T * M * near / 1000.0), far / (M * M + T * M * far / 1000.0)
    cap_near, cap_far = 1000.0 / (CAP - u_near), 1000.0 / (CAP - u_far)
    evp, evd, wd = M * CAP, 1000.0 / (M * CAP), 1000.0 / CAP
    m_refocused = -(1000.0 / f_oc - R) * f_obj / 1000.0
    t_refocused = f_obj + 1000.0 / (1000.0 / f_oc - R)
    b = TASK / M + base
    converge, tilt = 100.0 * PD / b, (M - 1.0) * 10.0
    light_in = min(1.0, (dxp / PUPIL) ** 2) * 0.985**4
    prism = M * CAP * 0.05
    return (exp, full, half, total, apparent, exit_d, near_mm, cap_near, cap_far, evp, evd, wd, m_refocused, t_refocused,
            b, converge, tilt, light_in, prism, pi)  # fmt: skip


def full_evaluation() -> tuple[object, ...]:
    """The same with guards, names and declarations: every number a plan shows of one telescope for one patient."""
    powers = telescope.objective_power_d(M, T), telescope.ocular_power_d(M, T)
    pupil = telescope.exit_pupil(M, T, D_OBJ)
    fields = tuple(field.real_field_deg(M, T, D_OBJ, EYE, PUPIL, c) for c in ("full", "half", "total"))
    apparent = field.apparent_field_deg(M, T, D_OBJ, EYE, PUPIL, "half")
    u = focus.object_vergence_d(TASK)
    exit_d = focus.exit_vergence_d(M, T, u)
    asked = focus.accommodation_demand_d(exit_d)
    tolerance = blur.tolerated_defocus_d(MAR, PUPIL, lower_d=0.25, upper_d=1.5)
    loss = blur.blur_loss_logmar(MAR, PUPIL, max(0.0, asked - AMPLITUDE))
    clear = focus.clear_range(M, T, tolerance, AMPLITUDE)
    cap = (
        caps.cap_working_distance_mm(CAP),
        caps.cap_equivalent_power_d(M, CAP),
        caps.cap_evd_mm(M, CAP),
        caps.cap_clear_range(M, T, CAP, tolerance, AMPLITUDE),
    )
    refocused = ametropia.refocus(M, T, R)
    evd = focus.evd_mm(M, T, TASK, EYE)
    two_tubes = (
        convergence.convergence_parallel_tubes_prism(M, T, TASK, EYE, PD),
        alignment.tilt_deviation_arcmin(M, 10.0),
        alignment.decentration_prism(M, T, CAP, EYE, 0.5),
    )
    bright = light.relative_brightness(PUPIL, light.transmittance_of_surfaces(0.015, 4), pupil.diameter_mm)
    return powers, pupil, fields, apparent, exit_d, loss, clear, cap, refocused, evd, two_tubes, bright


def recorded_evaluation() -> tuple[object, ...]:
    """The same while its working is being recorded."""
    with recording():
        return full_evaluation()


def seconds_each(*jobs: Callable[[], object], calls: int = 200, rounds: int = 150) -> list[float]:
    """The shortest mean time of a call of each job; the jobs take turns, so that other load disturbs all alike."""
    best = [float("inf")] * len(jobs)
    for _ in range(rounds):
        for index, job in enumerate(jobs):
            start = perf_counter()
            for _ in range(calls):
                job()
            best[index] = min(best[index], perf_counter() - start)
    return [time / calls for time in best]


def main() -> int:
    """Print the rates and the two ratios; 1 when one of them is over its limit."""
    plain, full, recorded = seconds_each(bare, full_evaluation, recorded_evaluation)
    print(f"bare closed form     {1 / plain:12,.0f} a second")
    print(
        f"full evaluation      {1 / full:12,.0f} a second   {full / plain:5.1f} x bare     (limit {FULL_MOST:g})"
    )
    print(
        f"with working         {1 / recorded:12,.0f} a second   {recorded / full:5.1f} x without  "
        f"(limit {RECORDED_MOST:g})"
    )
    return 0 if full / plain <= FULL_MOST and recorded / full <= RECORDED_MOST else 1


if __name__ == "__main__":
    sys.exit(main())
