"""What stands in the sample's files beside the pixels: EXIF records, plan.yaml, session.yaml."""

from fractions import Fraction

from finishing.exposure.values import aperture_value, time_value
from finishing.photographs import exif_tags as tags
from finishing.photographs.exif import Exif, long, rational, short, signed_rational, text, undefined, write_exif
from finishing.sample.scenario import CAMERA, CLOCK_AHEAD, LENSES, SETUPS, Setup, frame_of, true_time

# EXIF, tag Orientation: the stored rows must be turned a quarter to the right to stand upright.
TURN_RIGHT = 6
# EXIF, tag Flash: did not fire (studio heads on a remote trigger do not tell the camera).
_FLASH_NOT_FIRED, _SRGB, _RECOMMENDED_INDEX, _MANUAL = 0, 1, 2, 1


def exif_of(name: str, focal: int, width: int, height: int) -> bytes:
    """The EXIF record the invented camera wrote, as a TIFF structure. width, height: of the stored pixels."""
    setup, frame = frame_of(name)
    aperture = frame.aperture or setup.aperture
    clock = (true_time(frame.time) + CLOCK_AHEAD).strftime("%Y:%m:%d %H:%M:%S")
    hundredths = f"{(int(name.rpartition('-')[2]) * 37) % 100:02d}"
    shutter, f_number = Fraction(frame.shutter), Fraction(str(aperture))
    million = 1_000_000
    image = {
        tags.MODEL: text(CAMERA),
        tags.ORIENTATION: short(TURN_RIGHT if frame.stored_turned else 1),
        tags.X_RESOLUTION: rational(72, 1),
        tags.Y_RESOLUTION: rational(72, 1),
        tags.RESOLUTION_UNIT: short(2),
        tags.DATE_TIME: text(clock),
        tags.YCBCR_POSITIONING: short(1),
    }
    photo = {
        tags.EXPOSURE_TIME: rational(shutter.numerator, shutter.denominator),
        tags.F_NUMBER: rational(f_number.numerator, f_number.denominator),
        tags.EXPOSURE_PROGRAM: short(_MANUAL),
        tags.SENSITIVITY: short(setup.iso),
        tags.SENSITIVITY_TYPE: short(_RECOMMENDED_INDEX),
        tags.RECOMMENDED_INDEX: long(setup.iso),
        tags.EXIF_VERSION: undefined(b"0231"),
        tags.DATE_TIME_ORIGINAL: text(clock),
        tags.DATE_TIME_DIGITIZED: text(clock),
        tags.OFFSET_TIME: text("+02:00"),
        tags.OFFSET_TIME_ORIGINAL: text("+02:00"),
        tags.OFFSET_TIME_DIGITIZED: text("+02:00"),
        tags.SUBSEC_ORIGINAL: text(hundredths),
        tags.SUBSEC_DIGITIZED: text(hundredths),
        tags.COMPONENTS: undefined(b"\x01\x02\x03\x00"),
        tags.SHUTTER_SPEED: signed_rational(round(time_value(frame.seconds) * million), million),
        tags.APERTURE: rational(round(aperture_value(aperture) * million), million),
        tags.FLASH: short(_FLASH_NOT_FIRED),
        tags.FOCAL_LENGTH: rational(focal, 1),
        tags.FOCAL_LENGTH_35MM: short(focal),
        tags.FLASHPIX_VERSION: undefined(b"0100"),
        tags.COLOUR_SPACE: short(_SRGB),
        tags.PIXEL_WIDTH: long(width),
        tags.PIXEL_HEIGHT: long(height),
        tags.LENS_MODEL: text(LENSES[focal]),
    }
    return write_exif(Exif(">", image, photo))


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _setup_lines(setup: Setup) -> list[str]:
    lines = [
        f"  - id: {setup.id}",
        f"    title: {setup.title}",
        f"    frames: {setup.id}-*",
        f"    exposure: {{aperture: f/{_number(setup.aperture)}, shutter: {setup.shutter}, iso: {setup.iso}}}",
        f"    ambient: {_number(setup.ambient)}",
        "    strobes:",
    ]
    for head in setup.heads:
        position = f'"{head.position}"' if "," in head.position else head.position
        lines.append(
            f"      - {{name: {head.name}, modifier: {head.modifier}, position: {position}, "
            f"power: {head.power}, reads: f/{_number(head.reads)}}}"
        )
    return lines


def plan_text() -> str:
    """plan.yaml of the sample."""
    head = [
        "# The shoot plan of the sample session. The orchard, the people and the client are invented.",
        'place: {name: Example orchard, latitude: 47.4, longitude: 8.6, date: 2026-09-19, utc_offset: "+02:00"}',
        "sync: 1/200                            # fastest shutter that still takes the whole strobe",
        "setups:",
    ]
    return "\n".join(head + [line for setup in SETUPS for line in _setup_lines(setup)]) + "\n"


def session_text(
    kept_hue: float,
    subjects: dict[str, tuple[float, float]],
    ratings: dict[str, int],
    blend: tuple[str, str] | None = None,
) -> str:
    """session.yaml of the sample. kept_hue: OkLCh degrees; subjects: places in the frame, 0 to 1; blend: two frames of
    one tripod, at different shutters."""
    lines = [
        "# The sample session. Everyone and everything in it is invented.",
        "session: Orchard at dusk",
        "frames: [frames/*.jpg]",
        "plan: plan.yaml",
        f'camera_clock: {{ahead_by: "00:01:{int(CLOCK_AHEAD.total_seconds()) - 60:02d}"}}',
        "rights:",
        "  creator: A. Example",
        "  copyright: © 2026 A. Example",
        "  usage: Sample pictures, drawn by code; use as you like",
        "  contact: studio@example.org",
        "looks:",
        "  - {look: faded_print, frames: all}",
        "  - {look: white_edge, frames: all}",
        f"  - {{look: one_colour_kept, frames: all, with: {{kept_hue: {kept_hue:.0f}}}}}",
        "per_frame:",
    ]
    for name in sorted(subjects.keys() | ratings.keys()):
        parts = []
        if name in subjects:
            parts.append("subject: [{:.2f}, {:.2f}]".format(*subjects[name]))
        if name in ratings:
            parts.append(f"rating: {ratings[name]}")
        lines.append(f"  {name}: {{{', '.join(parts)}}}")
    if blend is not None:
        light = "{ambient: -0.7, strobe: +0.3}"
        lines += [
            "blends:                                 # strobe and daylight of two frames, blended anew",
            f"  {blend[0][0]}-later: {{sources: [{', '.join(blend)}], light: {light}}}",
        ]
    lines += ["deliverables:", "  web: {format: jpeg, long_edge: 1200, profile: srgb, quality: 90}"]
    return "\n".join(lines) + "\n"
