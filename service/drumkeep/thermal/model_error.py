"""How far the layer model is from fine-grid convection: the table that the band's errors come from.

Each row is one run of a fine-grid solver (``tests/reference/fine_grid``): drums 0.2 to 0.8 m deep,
5e-5 to 3e-3 m²/s, side films of 3 to 25 W/(m² K), warmed, cooled, turned, by day and night. The
model was fitted to the calibration runs only. ``python -m tests.reference.fine_grid.errors`` prints
the rows, and a test holds them to what the model gives. No measured curve of a drum is public.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Case:
    """One run: the largest errors, K, over all of it.

    ``kind`` is ``calibration``, ``check`` (no figure was fitted to it) or ``given`` (another
    solver's). The bottom is ``warm`` where the model is too warm: the unsafe side in the cold.
    """

    name: str
    kind: str
    depth_m: float
    viscosity_m2_s: float
    side_w_m2k: float
    mean_k: float
    bottom_rms_k: float
    bottom_warm_k: float
    bottom_cold_k: float
    top_k: float


CASES: Final = (
    Case("corner_wind_thick_warm", "check", 0.8, 0.003, 25, 0.36, 0.71, 0.02, 1.45, 1.84),
    Case("corner_wind_thick_cold", "check", 0.8, 0.003, 25, 0.26, 0.59, 1.4, 0.07, 0.57),
    Case("corner_wind_thin_cold", "check", 0.8, 5e-05, 25, 0.1, 0.68, 1.24, 0, 0.54),
    Case("corner_heel_thick_warm", "check", 0.2, 0.003, 3, 0.34, 0.26, 0.57, 1.15, 0.89),
    Case("edge_resin_turned_1", "calibration", 0.6, 0.0024, 18, 0.28, 0.56, 0.7, 1.13, 0.76),
    Case("edge_iso_warmed_3", "calibration", 0.21, 0.0025, 3.5, 0.22, 0.2, 0.42, 1.09, 0.78),
    Case("edge_iso_cooled_1", "calibration", 0.78, 5.5e-05, 24, 0.08, 0.66, 1.08, 0, 0.51),
    Case("iso_cooled_7", "check", 0.56, 0.00024, 21.5, 0.13, 0.36, 1.05, 0, 0.34),
    Case("edge_resin_warmed_2", "calibration", 0.78, 0.0027, 23, 0.24, 0.47, 0.04, 1.03, 1.33),
    Case("edge_resin_cooled_2", "calibration", 0.75, 0.0028, 24, 0.19, 0.43, 1, 0.08, 0.62),
    Case("resin_cooled_1", "calibration", 0.6, 0.00021, 22.7, 0.11, 0.35, 0.99, 0, 0.44),
    Case("edge_iso_warmed_6", "calibration", 0.45, 0.0029, 20, 0.18, 0.45, 0.1, 0.91, 0.67),
    Case("corner_still_full_cold", "check", 0.8, 5e-05, 3, 0.08, 0.59, 0.48, 0.75, 0.19),
    Case("edge_iso_warmed_1", "calibration", 0.76, 6e-05, 23, 0.13, 0.44, 0, 0.75, 1.55),
    Case("corner_heel_wind_cold", "check", 0.2, 5e-05, 25, 0.17, 0.2, 0.71, 0, 0.36),
    Case("iso_cooled_4", "check", 0.72, 0.00037, 12.5, 0.05, 0.36, 0.67, 0, 0.5),
    Case("iso_cool_truck", "given", 0.8, 0.00025, 14, 0.06, 0.23, 0.65, 0, 0.44),
    Case("iso_turned_1", "calibration", 0.79, 0.00034, 7.2, 0.1, 0.29, 0.62, 0.27, 0.59),
    Case("resin_cooled_3", "calibration", 0.65, 9.6e-05, 14.6, 0.04, 0.24, 0.6, 0, 0.22),
    Case("edge_iso_cooled_3", "calibration", 0.22, 6e-05, 22, 0.08, 0.22, 0.57, 0, 0.25),
    Case("edge_iso_cooled_5", "calibration", 0.74, 7e-05, 3.3, 0.07, 0.43, 0.43, 0.55, 0.19),
    Case("edge_resin_cooled_6", "calibration", 0.5, 0.0015, 3.2, 0.05, 0.37, 0.53, 0, 0.34),
    Case("resin_cooled_2", "check", 0.73, 9.7e-05, 5.6, 0.04, 0.2, 0.52, 0.1, 0.21),
    Case("resin_warmed_2", "calibration", 0.64, 0.0011, 10.8, 0.05, 0.14, 0.1, 0.51, 0.61),
    Case("iso_warmed_3", "check", 0.78, 0.00071, 17.6, 0.1, 0.24, 0.06, 0.5, 0.87),
    Case("iso_warmed_1", "calibration", 0.77, 0.0019, 9.3, 0.1, 0.28, 0.04, 0.49, 0.89),
    Case("corner_ramp", "check", 0.6, 0.0003, 12, 0.09, 0.23, 0.23, 0.48, 0.39),
    Case("iso_cooled_2", "calibration", 0.72, 0.00044, 18.6, 0.06, 0.21, 0.48, 0, 0.19),
    Case("iso_cooled_9", "check", 0.66, 0.0018, 9.3, 0.05, 0.2, 0.28, 0.47, 0.15),
    Case("iso_cooled_3", "calibration", 0.51, 0.0022, 4.5, 0.03, 0.11, 0.12, 0.46, 0.09),
    Case("resin_warmed_1", "calibration", 0.49, 0.0028, 17.5, 0.11, 0.19, 0.06, 0.45, 0.52),
    Case("iso_cooled_1", "calibration", 0.68, 0.00057, 4, 0.04, 0.21, 0.43, 0.12, 0.23),
    Case("iso_turned_3", "check", 0.53, 0.00021, 7.9, 0.08, 0.29, 0.42, 0.42, 0.47),
    Case("resin_turned_2", "check", 0.27, 0.00091, 10.3, 0.08, 0.14, 0.23, 0.42, 0.25),
    Case("edge_iso_warmed_7", "calibration", 0.3, 0.001, 12, 0.09, 0.15, 0.13, 0.39, 0.9),
    Case("iso_cooled_6", "check", 0.35, 0.002, 23.8, 0.07, 0.08, 0.38, 0, 0.33),
    Case("iso_cooled_5", "calibration", 0.56, 6.5e-05, 3.5, 0.04, 0.25, 0.38, 0.33, 0.15),
    Case("resin_warmed_3", "check", 0.6, 0.0012, 3.9, 0.02, 0.09, 0.1, 0.34, 0.46),
    Case("iso_warm_shop", "given", 0.8, 0.0002, 8, 0.04, 0.12, 0.04, 0.34, 0.68),
    Case("iso_cooled_8", "calibration", 0.23, 0.0016, 15.3, 0.06, 0.05, 0.34, 0.02, 0.5),
    Case("resin_turned_1", "calibration", 0.75, 0.00013, 3.6, 0.05, 0.15, 0.34, 0.21, 0.26),
    Case("resin_warm_shop", "given", 0.8, 0.0008, 8, 0.04, 0.13, 0.06, 0.31, 0.69),
    Case("iso_turned_2", "calibration", 0.26, 5.1e-05, 7.8, 0.05, 0.08, 0.17, 0.26, 0.39),
    Case("iso_warmed_6", "calibration", 0.54, 0.00019, 9.8, 0.04, 0.09, 0.07, 0.26, 0.89),
    Case("edge_resin_warmed_4", "calibration", 0.25, 7e-05, 20, 0.03, 0.11, 0.01, 0.26, 0.39),
    Case("resin_day_night_1", "calibration", 0.4, 0.00016, 19.8, 0.04, 0.1, 0.03, 0.25, 0.18),
    Case("corner_still_full_warm", "check", 0.8, 0.0003, 3, 0.11, 0.18, 0.24, 0.15, 0.75),
    Case("resin_day_night_2", "check", 0.43, 0.00011, 14.2, 0.03, 0.09, 0.08, 0.23, 0.24),
    Case("edge_iso_ramped_1", "calibration", 0.35, 9e-05, 9, 0.04, 0.09, 0.03, 0.21, 0.38),
    Case("iso_warmed_8", "check", 0.35, 0.00017, 4.8, 0.08, 0.07, 0.1, 0.2, 0.39),
    Case("corner_heel_still_warm", "check", 0.2, 5e-05, 3, 0.08, 0.12, 0, 0.2, 0.23),
    Case("iso_layered_1", "calibration", 0.47, 0.00072, 23.9, 0, 0.1, 0.2, 0.04, 0.1),
    Case("iso_warmed_5", "check", 0.4, 0.00048, 3, 0.07, 0.08, 0.11, 0.19, 0.26),
    Case("iso_half_warm", "given", 0.4, 0.0002, 8, 0.03, 0.07, 0.04, 0.19, 0.35),
    Case("iso_warmed_4", "calibration", 0.22, 0.00032, 5.6, 0.02, 0.06, 0.02, 0.19, 0.21),
    Case("corner_layered_cold", "check", 0.7, 0.0002, 10, 0.02, 0.13, 0.18, 0.03, 0.05),
    Case("iso_day_night_3", "calibration", 0.29, 0.00077, 11.7, 0.04, 0.07, 0.02, 0.18, 0.16),
    Case("resin_cooled_4", "calibration", 0.37, 0.00052, 5.5, 0.02, 0.05, 0.18, 0, 0.07),
    Case("iso_warmed_2", "calibration", 0.34, 7.9e-05, 12.4, 0.02, 0.07, 0.02, 0.17, 0.39),
    Case("edge_resin_cooled_4", "calibration", 0.24, 0.0026, 4, 0.04, 0.06, 0.11, 0.16, 0.74),
    Case("iso_day_night_4", "check", 0.46, 0.0024, 6.1, 0.05, 0.06, 0.08, 0.15, 0.19),
    Case("iso_warmed_7", "calibration", 0.4, 0.00027, 8.6, 0.02, 0.06, 0.04, 0.13, 0.32),
    Case("iso_day_night_5", "calibration", 0.61, 0.0014, 6.1, 0.03, 0.06, 0.09, 0.12, 0.13),
    Case("edge_resin_warmed_5", "calibration", 0.72, 0.0001, 3.5, 0.03, 0.08, 0.11, 0.06, 0.54),
    Case("iso_day_night_2", "check", 0.62, 6.2e-05, 4, 0.02, 0.04, 0.05, 0.08, 0.18),
    Case("iso_day_night_1", "calibration", 0.44, 0.00011, 5.1, 0.04, 0.04, 0.05, 0.08, 0.15),
    Case("iso_slowly_cooled_1", "check", 0.3, 7.3e-05, 14.7, 0.03, 0.01, 0, 0.02, 0.06),
    Case("iso_slowly_cooled_2", "calibration", 0.32, 0.001, 3.1, 0.01, 0.01, 0.01, 0.02, 0.05),
    Case("iso_layered_2", "check", 0.23, 0.00063, 7.1, 0.04, 0.01, 0.01, 0.01, 0.04),
)


def worst(name: str) -> float:
    """Largest of one kind of error, K (a field's name), over all runs but those that check."""
    return max(float(getattr(case, name)) for case in CASES if case.kind != "check")
