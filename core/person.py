"""The person as numbers for planning: what was measured, what had to be assumed, and from what.

Made from the case and the settings, never stored. Whatever leans on an assumed number can name it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from .acuity import Acuity, OffChart
from .assumptions import ASSUMPTIONS
from .case import Case
from .entry import Curve, Pd, Reserve
from .errors import Refusal
from .fields import WARNINGS
from .formula import formula
from .optics.blur import sustained_accommodation_d
from .optics.light import pupil_diameter_mm
from .print_size import NearPrint
from .ranges import AGE
from .refraction import Refraction
from .settings import Settings

Side = Literal["right", "left"]
SIDES: tuple[Side, Side] = ("right", "left")


class Assumed(NamedTuple):
    """A number that stands in for a measurement: which field, the value, and the sentence that says so."""

    path: str
    value: float
    unit: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Eye:
    """One eye (or, with side "both", both together). None means not recorded and not assumable."""

    side: Literal["right", "left", "both"]
    acuity: Acuity | OffChart | None
    near: NearPrint | None
    log_cs: float
    refraction: Refraction
    pupil_mm: float
    pupil_dim_mm: float
    accommodation_d: float
    scotoma_deg: float | None
    visual_field_deg: float | None
    curve: Curve | None
    pd_mm: float
    pupil_height_mm: float

    @property
    def logmar(self) -> float | None:
        """logMAR, or None when not recorded or off the chart."""
        return self.acuity.logmar if isinstance(self.acuity, Acuity) else None

    @property
    def off_chart(self) -> OffChart | None:
        """The category when the eye cannot be measured on a chart."""
        return self.acuity if isinstance(self.acuity, OffChart) else None


@dataclass(frozen=True, slots=True)
class Person:
    """Everything about the person that the plan needs. ``assumed`` is by field path."""

    code: str
    age_years: int | None
    right: Eye
    left: Eye
    both: Eye
    pd: Pd
    refraction_vertex_mm: float
    vertex_mm: float
    ocular_to_cornea_mm: float | None
    pantoscopic_deg: float
    b_size_mm: float
    a_size_mm: float | None
    bridge_mm: float | None
    segment_height_mm: float | None
    lenses_worn: str
    add_d: float | None
    tube_tilt_deg: float | None
    spread_mm: float
    reach_mm: float
    dominance: str
    fusion: bool | None
    suppression: str
    double_vision: str
    reserves: Mapping[str, Reserve]
    head_tremor: str
    neck: str
    hands: str
    falls: str
    stability: str
    glare: str
    warnings: tuple[str, ...]
    assumed: Mapping[str, Assumed] = field(default_factory=dict)
    lens_form: str = ""

    def eye(self, side: str) -> Eye:
        """The right eye, the left, or both."""
        return {"right": self.right, "left": self.left, "both": self.both}[side]


class _Reader:
    """Values of the visit worked on; notes each assumption that it had to make."""

    def __init__(self, case: Case, settings: Settings) -> None:
        self.case, self.settings = case, settings
        self.assumed: dict[str, Assumed] = {}

    def get(self, path: str, default: Any = None) -> Any:
        value = self.case.value(path)
        return default if value is None else value

    def number(self, path: str, assumption: str) -> float:
        value = self.case.value(path)
        if value is not None:
            finding = self.case.visit.findings[path]
            if finding.status == "confirmed":
                return float(value)
            return float(value)
        return self.assume(path, assumption, self.settings.assume(assumption))

    def assume(self, path: str, assumption: str, value: float, sentence: str = "") -> float:
        known = ASSUMPTIONS.get(assumption)
        words = sentence or (known.sentence if known and value == known.default else f"{value:g} taken")
        self.assumed[path] = Assumed(path, value, known.unit if known else "", words)
        return value


def person_of(case: Case, settings: Settings) -> Person:
    """The person at the visit worked on. Never raises for missing data: it assumes and says so."""
    read = _Reader(case, settings)
    age = case.age_years()
    pd = read.get("face.pd")
    if pd is None:
        half = read.assume("face.pd", "pd_mm", settings.assume("pd_mm")) / 2
        pd = Pd(half, half, by_eye=False)
    eyes = {side: _eye(read, side, age, pd) for side in ("right", "left", "both")}
    refraction_vertex = read.number("test.refraction_vertex", "vertex_mm")
    reserves = {
        name: read.case.value(f"binocular.{name}")
        for name in ("base_in_distance", "base_out_distance", "base_in_near", "base_out_near", "vertical")
    }
    return Person(
        code=case.code,
        age_years=age,
        right=eyes["right"],
        left=eyes["left"],
        both=eyes["both"],
        pd=pd,
        refraction_vertex_mm=refraction_vertex,
        vertex_mm=read.number("face.vertex_distance", "vertex_mm"),
        ocular_to_cornea_mm=read.get("face.ocular_to_cornea"),
        pantoscopic_deg=read.number("face.pantoscopic_tilt", "pantoscopic_deg"),
        b_size_mm=read.number("face.b_size", "b_size_mm"),
        a_size_mm=read.get("face.a_size"),
        bridge_mm=read.get("face.bridge"),
        segment_height_mm=read.get("face.segment_height"),
        lenses_worn=read.get("test.lenses_worn", ""),
        add_d=read.get("test.add"),
        tube_tilt_deg=read.get("face.tube_tilt"),
        spread_mm=read.get("face.spread", 0.0),
        reach_mm=read.number("face.reach", "reach_mm"),
        dominance=read.get("binocular.dominance", ""),
        fusion=read.get("binocular.fusion"),
        suppression=read.get("binocular.suppression", ""),
        double_vision=read.get("binocular.double_vision", ""),
        reserves={name: value for name, value in reserves.items() if value is not None},
        head_tremor=read.get("history.head_tremor", ""),
        neck=read.get("history.neck", ""),
        hands=read.get("history.hands", ""),
        falls=read.get("history.falls", ""),
        stability=read.get("history.stability", ""),
        glare=read.get("test.glare", ""),
        warnings=tuple(name for name in WARNINGS if case.value(f"history.{name}") is True),
        assumed=read.assumed,
        lens_form=read.get("face.lens_form", ""),
    )


def _eye(read: _Reader, side: Literal["right", "left", "both"], age: int | None, pd: Pd) -> Eye:
    """An eye; "both" takes the better measured pupil, contrast and accommodation where none of its own is asked."""
    if side == "both":
        right, left = (_eye(_Reader(read.case, read.settings), s, age, pd) for s in SIDES)
        near = read.get("both.near_acuity")
        return Eye(
            "both",
            read.get("both.distance_acuity"),
            near,
            read.get("both.contrast", _better_contrast(read, right, left)),
            right.refraction,
            min(right.pupil_mm, left.pupil_mm),
            min(right.pupil_dim_mm, left.pupil_dim_mm),
            min(right.accommodation_d, left.accommodation_d),
            None,
            None,
            read.get("both.reading_curve"),
            pd.total_mm,
            right.pupil_height_mm,
        )
    refraction = read.get(f"{side}.refraction")
    if refraction is None:
        read.assume(f"{side}.refraction", "refraction_d", 0.0, "no refractive error while not measured")
        refraction = Refraction(0.0)
    log_cs = read.case.value(f"{side}.contrast")
    if log_cs is None:
        log_cs = read.case.value("both.contrast")
    if log_cs is None:
        log_cs = read.assume(f"{side}.contrast", "log_cs", read.settings.assume("log_cs"))
    return Eye(
        side,
        read.get(f"{side}.distance_acuity"),
        read.get(f"{side}.near_acuity"),
        log_cs,
        refraction,
        _pupil(read, f"{side}.pupil", "room_luminance_cd_m2", read.case.value("test.room_luminance"), age),
        _pupil(read, f"{side}.pupil_dim", "dim_luminance_cd_m2", None, age),
        _accommodation(read, side, age),
        read.get(f"{side}.scotoma"),
        read.get(f"{side}.visual_field"),
        read.get(f"{side}.reading_curve"),
        pd.right_mm if side == "right" else pd.left_mm,
        read.number(f"face.pupil_height_{side}", "pupil_height_mm"),
    )


def _better_contrast(read: _Reader, right: Eye, left: Eye) -> float:
    """The contrast of both eyes by the better one; an eye not measured or off the chart lends nothing to the other."""
    on_chart = [eye for eye in (right, left) if eye.off_chart is None] or [right, left]
    measured = [eye for eye in on_chart if read.case.value(f"{eye.side}.contrast") is not None]
    return max(eye.log_cs for eye in measured or on_chart)


def _pupil(
    read: _Reader, path: str, luminance_name: str, luminance_cd_m2: float | None, age: int | None
) -> float:
    """Measured; else by luminance and age; else the fixed figure, each said."""
    value = read.case.value(path)
    if value is not None:
        return float(value)
    luminance = read.settings.assume(luminance_name) if luminance_cd_m2 is None else luminance_cd_m2
    field_deg = read.settings.assume("adapting_field_deg")
    if age is not None:
        try:
            value = pupil_diameter_mm(
                luminance_cd_m2=luminance, adapting_field_deg=field_deg, age_years=age, eyes_adapted=2
            )
            return read.assume(path, "", value, f"pupil {value:.1f} mm by age {age} and {luminance:g} cd/m2")
        except Refusal:
            pass
    value = read.settings.assume("pupil_without_age_mm")
    return read.assume(path, "pupil_without_age_mm", value)


@formula("share × amplitude", unit="D", source="", kind="common practice", domain="share 0 to 1")
def sustained_from_amplitude_d(amplitude_d: float, sustained_fraction: float) -> float:
    """Accommodation that can be kept up, D, from a measured amplitude."""
    return sustained_fraction * amplitude_d


def _accommodation(read: _Reader, side: str, age: int | None) -> float:
    """What can be kept up (D): measured, or a share of the measured amplitude, or by age; none without an age."""
    path = f"{side}.sustained_accommodation"
    kept = read.case.value(path)
    if kept is not None:
        return float(kept)
    share = read.settings.assume("sustained_share")
    amplitude = read.case.value(f"{side}.accommodation")
    if amplitude is not None:
        return read.assume(
            path,
            "sustained_share",
            sustained_from_amplitude_d(amplitude, share),
            f"{share:g} of the measured {amplitude:g} D can be kept up",
        )
    if age is None:
        return read.assume(path, "", 0.0, "no accommodation counted while the age is not known")
    limit = read.settings.assume("no_accommodation_from_years")
    if age >= limit or not AGE.accepts(age):
        return read.assume(
            path, "no_accommodation_from_years", 0.0, f"no accommodation counted from {limit:g} years"
        )
    value = sustained_accommodation_d(age, share, limit)
    return read.assume(
        path,
        "sustained_share",
        value,
        f"{value:.2f} D of accommodation by age {age}, {share:g} of the least amplitude",
    )
