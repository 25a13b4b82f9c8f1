"""Picture 3: eye, lens and tube from the side, to scale: a bioptic with its angles, any other with eye and exit pupil.

Millimetres from the eye's centre of rotation, to the front and up; the front is to the right. Heights, angles and
distances are those of the plan; what is worked out here is only where a stroke ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin, tan

from ...core.documents.numbers import device_numbers
from ...core.documents.text import number
from ...core.plan.types import EyeNumbers, MountNumbers, Option
from ..widgets.sheet import SheetRow, text_row, value_row
from .canvas import DASHED, DOTTED, ROW_IN_CELLS, Canvas, Lines
from .scale import round_up
from .subject import Subject, assumed_rows, option_row, sentence_lines

_MOUNT_QUANTITIES = ("head_drop_deg", "tube_to_lens_normal_deg", "ocular_height_mm", "least_lens_height_mm")
_EYE_QUANTITIES = ("eye_distance_mm", "exit_pupil_diameter_mm")
# What the side view hangs on and may not have been measured.
_LEANS_ON = (
    "{eye}.pupil",
    "face.vertex_distance",
    "face.pantoscopic_tilt",
    "face.b_size",
    "face.pupil_height_right",
    "face.pupil_height_left",
)
# A target far ahead is drawn as this long a ray, mm.
_RAY_MM = 18.0


@dataclass(frozen=True, slots=True)
class Place:
    """Millimetres in front of the centre of rotation and above it, on a canvas of so many cells a millimetre."""

    left_mm: float
    top_mm: float
    cells_per_mm: float

    def cell(self, ahead_mm: float, up_mm: float) -> tuple[float, float]:
        """Column and row."""
        return (
            (ahead_mm - self.left_mm) * self.cells_per_mm,
            (self.top_mm - up_mm) * self.cells_per_mm / ROW_IN_CELLS,
        )


@dataclass(frozen=True, slots=True)
class SideView:
    """The parts in millimetres: radius of the eye's drawn circle, pupil, lens, tube by its two ends."""

    eye_radius_mm: float
    pupil_ahead_mm: float
    pupil_mm: float
    lens_ahead_mm: float
    lens_bottom_mm: float
    lens_top_mm: float
    pantoscopic_deg: float
    ocular: tuple[float, float]
    objective: tuple[float, float]
    housing_mm: float
    tilt_deg: float
    gaze_deg: float
    head_drop_deg: float | None


def side_view(subject: Subject, option: Option) -> SideView:
    """The parts of an option on this face, for the eye that leads."""
    mount, eye = option.device.mount, option.device.leading
    person_eye = subject.view.person.eye(eye.side)
    ahead = mount.rotation_distance_mm
    radius = ahead - eye.ocular_to_cornea_mm
    height = mount.ocular_height_mm or 0.0
    tilt, tube = radians(mount.tube_tilt_deg), eye.tube_length_mm
    b_size = mount.b_size_mm or 2 * person_eye.pupil_height_mm
    return SideView(
        eye_radius_mm=radius,
        pupil_ahead_mm=ahead - eye.eye_distance_mm,
        pupil_mm=eye.pupil_mm,
        lens_ahead_mm=radius + subject.view.person.vertex_mm,
        lens_bottom_mm=-person_eye.pupil_height_mm,
        lens_top_mm=b_size - person_eye.pupil_height_mm,
        pantoscopic_deg=mount.pantoscopic_deg,
        ocular=(ahead, height),
        objective=(ahead + tube * cos(tilt), height + tube * sin(tilt)),
        housing_mm=option.telescope.housing_radius_mm,
        tilt_deg=mount.tube_tilt_deg,
        gaze_deg=mount.gaze_elevation_deg or 0.0,
        head_drop_deg=mount.head_drop_deg,
    )


def place_of(view: SideView, width: int, height: int) -> Place:
    """The largest scale at which everything fits."""
    rise = max(view.objective[1], view.ocular[1]) + view.housing_mm + 1
    top, bottom = max(view.lens_top_mm, rise), min(view.lens_bottom_mm, -view.eye_radius_mm)
    left, right = -view.eye_radius_mm, view.objective[0] + _RAY_MM
    scale = min(width / (right - left), height * ROW_IN_CELLS / (top - bottom))
    spare = (height * ROW_IN_CELLS / scale - (top - bottom)) / 2
    return Place(left, top + spare, scale)


def draw(subject: Subject, width: int, height: int) -> Lines:
    """Eye, gaze, lens, tube and the way to the target, with the angles written beside."""
    option = subject.option
    if option is None:
        return sentence_lines(subject.nothing, width, height)
    view = side_view(subject, option)
    notes = _notes(option.device.mount, option.device.leading)
    room = max(len(note) for note in notes) + 1
    wide = width - room if width >= 2 * room else width
    canvas = Canvas(width, height, subject.way)
    # A stroke that ends at the edge has its last dot in the cell behind it, which stays blank before the figures.
    place = place_of(view, wide - 1 if wide < width else wide, height - 1)
    _draw_face(canvas, place, view)
    _draw_tube(canvas, place, view, option.device.leading)
    if wide < width:
        for row, note in enumerate(notes[:height]):
            canvas.text(width - room + 1, row, note, "label")
    _draw_measure(canvas, place, height - 1)
    return canvas.lines()


def _draw_face(canvas: Canvas, place: Place, view: SideView) -> None:
    """Eye with its pupil, carrier lens, and the straight-ahead gaze."""
    canvas.line(*place.cell(0, 0), *place.cell(view.objective[0] + _RAY_MM, 0), "frame", "-", DOTTED)
    x, y = place.cell(0, 0)
    canvas.circle(x, y, view.eye_radius_mm * place.cells_per_mm, "curve", "o")
    lean = tan(radians(view.pantoscopic_deg))
    ends = [(view.lens_ahead_mm + up * lean, up) for up in (view.lens_bottom_mm, view.lens_top_mm)]
    canvas.line(*place.cell(*ends[0]), *place.cell(*ends[1]), "curve-other", "", DASHED)
    for ahead, up in ends:
        canvas.line(*place.cell(ahead - 1.5, up), *place.cell(ahead + 1.5, up), "curve-other", "=")
    half = view.pupil_mm / 2
    canvas.line(
        *place.cell(view.pupil_ahead_mm, -half), *place.cell(view.pupil_ahead_mm, half), "curve-third", "p"
    )


def _draw_tube(canvas: Canvas, place: Place, view: SideView, eye: EyeNumbers) -> None:
    """The housing as a box along the tube's axis, its two lenses, the line of gaze and the ray to the target."""
    tilt = radians(view.tilt_deg)
    over = -view.housing_mm * sin(tilt), view.housing_mm * cos(tilt)
    (ax, ay), (bx, by) = view.ocular, view.objective
    for sign in (1, -1):
        canvas.line(
            *place.cell(ax + sign * over[0], ay + sign * over[1]),
            *place.cell(bx + sign * over[0], by + sign * over[1]),
            "curve",
        )
    for x, y in (view.ocular, view.objective):
        canvas.line(
            *place.cell(x - over[0], y - over[1]), *place.cell(x + over[0], y + over[1]), "curve", "|"
        )
    canvas.line(*place.cell(0, 0), *place.cell(ax, ay), "curve-third", "", DASHED)
    if view.head_drop_deg is not None:
        drop = radians(view.head_drop_deg)
        end = bx + _RAY_MM * cos(drop), by + _RAY_MM * sin(drop)
        canvas.line(*place.cell(bx, by), *place.cell(*end), "curve-third", "", DASHED)
    else:
        # The exit pupil stands upright on the axis, behind the ocular or, of a Galilean, inside the tube.
        ahead, half = ax - eye.exit_pupil_distance_mm, eye.exit_pupil_diameter_mm / 2
        canvas.line(*place.cell(ahead, ay - half), *place.cell(ahead, ay + half), "curve-other", "x", DASHED)


def _notes(mount: MountNumbers, eye: EyeNumbers) -> list[str]:
    """The figures that stand beside the drawing."""
    if mount.head_drop_deg is None or mount.gaze_elevation_deg is None or mount.ocular_height_mm is None:
        place = "behind" if eye.exit_pupil_distance_mm >= 0 else "inside"
        return [
            f"eye    {number(eye.eye_distance_mm, 1)} mm",
            f"exit   {number(eye.exit_pupil_diameter_mm, 1)} mm",
            f"{place} {number(abs(eye.exit_pupil_distance_mm), 1)} mm",
            f"pupil  {number(eye.pupil_mm, 1)} mm",
            f"tube   {number(eye.tube_length_mm, 0)} mm",
        ]
    lens = f"{number(mount.least_lens_height_mm or 0.0, 1)} of {number(mount.b_size_mm or 0.0, 1)}"
    return [
        f"tilt  {number(mount.tube_tilt_deg, 0)} deg",
        f"gaze  {number(mount.gaze_elevation_deg, 0)} deg",
        f"drop  {number(mount.head_drop_deg, 0)} deg",
        f"up    {number(mount.ocular_height_mm, 1)} mm",
        f"lens  {lens}",
        f"pupil {number(eye.pupil_mm, 1)} mm",
    ]


def _draw_measure(canvas: Canvas, place: Place, y: int) -> None:
    unit = round_up(4 / place.cells_per_mm)
    cells = max(2, round(unit * place.cells_per_mm))
    canvas.text(0, y, "|" + "-" * (cells - 2) + f"| {unit:g} mm", "unit")


# ---- the same in words


def words(subject: Subject) -> list[SheetRow]:
    """What is drawn, and every number with what it hangs on."""
    named, option = subject.named, subject.option
    if named is None or option is None:
        return [text_row(subject.nothing)]
    mount, eye = option.device.mount, option.device.leading
    rows = [option_row(named)]
    if mount.head_drop_deg is None:
        rows.append(
            text_row(
                f"Not a bioptic: the {option.configuration.position} position. Drawn is the view straight ahead "
                "through the tube's middle: circle, eye; broken upright line, exit pupil; short stroke, pupil."
            )
        )
    else:
        rows.append(
            text_row(
                "Circle: the eye round its centre of rotation. Dotted: gaze straight ahead. Broken from the eye: gaze "
                "up to the ocular. Box: the tube. Broken beyond it: towards a target far ahead, once the head is down."
            )
        )
        rows.append(
            value_row(
                "Tube tilt",
                f"{number(mount.tube_tilt_deg, 1)} deg",
                note="(up from straight ahead)",
                key="device:0:tube_tilt_deg",
            )
        )
        if mount.gaze_elevation_deg is not None:
            words = f"{number(mount.gaze_elevation_deg, 1)} deg"
            rows.append(value_row("Gaze up to the ocular", words, key="device:0:gaze_elevation_deg"))
    for shown in device_numbers(option):
        if shown.quantity in _MOUNT_QUANTITIES or shown.quantity in _EYE_QUANTITIES:
            note = f"({shown.criterion})" if shown.criterion else ""
            rows.append(value_row(shown.label, shown.words, "", note, key=f"device:0:{shown.asked}"))
    rows.append(
        value_row("Pupil", f"{number(eye.pupil_mm, 1)} mm", "", f"({eye.side} eye, light of the room)")
    )
    rows.append(value_row("Tube", f"{number(eye.tube_length_mm, 1)} mm", "", "(as it is used)"))
    return rows + assumed_rows(subject, _LEANS_ON)
