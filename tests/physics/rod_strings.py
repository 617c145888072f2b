"""Rod strings as API RP 11L prints them, from memory."""

from __future__ import annotations

from typing import NamedTuple


class PrintedString(NamedTuple):
    number: int
    plunger_in: float
    weight_lb_per_ft: float
    stretch_in_per_lb_ft: float
    frequency_factor: float
    taper_percent: tuple[float, ...]

    def sections(self, length_ft: float) -> list[tuple[float, float]]:
        """(diameter_in, length_ft) from the top; the first digit of the number is the top rod in eighths."""
        total = sum(self.taper_percent)
        top = self.number // 10
        return [((top - i) / 8.0, length_ft * share / total) for i, share in enumerate(self.taper_percent)]


PRINTED_STRINGS = [
    PrintedString(54, 1.06, 0.908, 1.668e-6, 1.138, (44.6, 55.4)),
    PrintedString(54, 1.25, 0.929, 1.633e-6, 1.140, (49.5, 50.5)),
    PrintedString(54, 1.50, 0.957, 1.584e-6, 1.137, (56.4, 43.6)),
    PrintedString(64, 1.06, 1.164, 1.382e-6, 1.229, (33.3, 33.1, 33.5)),
    PrintedString(64, 1.25, 1.211, 1.319e-6, 1.215, (37.2, 35.9, 26.9)),
    PrintedString(65, 1.06, 1.307, 1.138e-6, 1.098, (34.4, 65.6)),
    PrintedString(65, 1.25, 1.321, 1.127e-6, 1.104, (37.3, 62.7)),
    PrintedString(65, 1.50, 1.343, 1.110e-6, 1.110, (41.8, 58.2)),
    PrintedString(65, 1.75, 1.369, 1.090e-6, 1.114, (46.9, 53.1)),
    PrintedString(65, 2.00, 1.394, 1.070e-6, 1.114, (52.0, 48.0)),
    PrintedString(75, 1.06, 1.566, 0.997e-6, 1.191, (27.0, 27.4, 45.6)),
    PrintedString(75, 1.25, 1.604, 0.973e-6, 1.193, (29.4, 29.8, 40.8)),
    PrintedString(76, 1.06, 1.802, 0.816e-6, 1.072, (28.5, 71.5)),
    PrintedString(76, 1.25, 1.814, 0.812e-6, 1.077, (30.6, 69.4)),
    PrintedString(76, 1.50, 1.833, 0.804e-6, 1.082, (33.8, 66.2)),
    PrintedString(76, 1.75, 1.855, 0.795e-6, 1.088, (37.5, 62.5)),
    PrintedString(76, 2.00, 1.880, 0.785e-6, 1.093, (41.7, 58.3)),
    PrintedString(76, 2.25, 1.908, 0.774e-6, 1.096, (46.5, 53.5)),
    PrintedString(86, 1.25, 2.087, 0.732e-6, 1.156, (24.3, 24.5, 51.2)),
    PrintedString(86, 1.50, 2.133, 0.717e-6, 1.162, (26.8, 27.0, 46.3)),
    PrintedString(86, 1.75, 2.185, 0.699e-6, 1.164, (29.4, 30.0, 40.6)),
    PrintedString(87, 1.25, 2.399, 0.610e-6, 1.058, (25.7, 74.3)),
    PrintedString(87, 1.50, 2.413, 0.607e-6, 1.062, (27.7, 72.3)),
    PrintedString(87, 1.75, 2.430, 0.603e-6, 1.066, (30.3, 69.7)),
    PrintedString(87, 2.00, 2.450, 0.598e-6, 1.071, (33.2, 66.8)),
    PrintedString(87, 2.25, 2.472, 0.594e-6, 1.075, (36.4, 63.6)),
]

# the worked example: 76 rods, 1.5 in plunger, 5000 ft
EXAMPLE = next(s for s in PRINTED_STRINGS if (s.number, s.plunger_in) == (76, 1.5)).sections(5000.0)
EXAMPLE_SOURCE = "API RP 11L 1988, worked example, from memory"
