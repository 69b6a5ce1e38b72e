"""The one list of operations. A new operation is a new file beside this one and a line here."""

from finishing.operation import Operation
from finishing.operations.bleach_bypass import BleachBypass
from finishing.operations.border import Border
from finishing.operations.burn_dodge import BurnDodge
from finishing.operations.cross_process import CrossProcess
from finishing.operations.edge_vignette import EdgeVignette
from finishing.operations.exposure import Exposure
from finishing.operations.film_curve import FilmCurve
from finishing.operations.glow import Glow
from finishing.operations.graduated_filter import GraduatedFilter
from finishing.operations.grain import Grain
from finishing.operations.halation import Halation
from finishing.operations.hue_emphasis import HueEmphasis
from finishing.operations.hue_isolation import HueIsolation
from finishing.operations.hue_shift import HueShift
from finishing.operations.monochrome import Monochrome
from finishing.operations.saturation import Saturation
from finishing.operations.sharpening import Sharpening
from finishing.operations.shoulder import Shoulder
from finishing.operations.split_tone import SplitTone
from finishing.operations.tone_curve import ToneCurve
from finishing.operations.toning import Toning
from finishing.operations.veil import Veil
from finishing.operations.white_balance import WhiteBalance

OPERATIONS: dict[str, type[Operation]] = {
    operation.name: operation
    for operation in (
        Exposure,
        WhiteBalance,
        ToneCurve,
        FilmCurve,
        Shoulder,
        BurnDodge,
        GraduatedFilter,
        EdgeVignette,
        Monochrome,
        HueIsolation,
        HueEmphasis,
        HueShift,
        Saturation,
        SplitTone,
        Toning,
        BleachBypass,
        CrossProcess,
        Glow,
        Halation,
        Veil,
        Sharpening,
        Grain,
        Border,
    )
}
