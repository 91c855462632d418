"""The charts of the report, each made from the events of a run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, HoleFinished, HoleProgress, HoleStarted
from controller.record.by_hand import COVERAGE
from controller.record.drawing import Chart, chart, padded
from controller.record.journal import RunRecord
from controller.settings.units import UM_PER_MM

S_PER_H = 3600.0
# Most bars of the gap-state chart: chosen so that a bar stays wider than the line between two.
MOST_BARS = 80


def exit_chart(record: RunRecord) -> Chart:
    """Exit diameter in drilling order with its uncertainty and the tolerance; for a rehearsal also the truth."""
    start, holes = record.start, _through(record)
    truths = {truth.hole: truth.exit_diameter_mm for truth in record.true_holes}
    low_mm, high_mm = start.diameter_mm - start.tolerance_mm, start.diameter_mm + start.tolerance_mm
    seen = [hole.exit_diameter_mm + sign * COVERAGE * hole.exit_diameter_u_mm for hole in holes for sign in (-1, 1)]
    reach = padded([low_mm, high_mm, *seen, *(truths[hole.hole] for hole in holes if truths.get(hole.hole))])
    legend = [
        ("dot estimate", "estimate"),
        ("area band", "± 2 standard uncertainties"),
        ("area tolerance", "tolerance"),
    ]
    if truths:
        legend.append(("dot truth", "truth of the virtual machine"))
    drawn = chart(
        "Exit diameter",
        "Largest pin that should pass, in drilling order.",
        (0.5, len(holes) + 0.5, "hole, in drilling order"),
        (*reach, "mm"),
        legend,
    )
    drawn.bar("area tolerance", (0.5, len(holes) + 0.5), (low_mm, high_mm))
    band = [
        (float(rank), hole.exit_diameter_mm, COVERAGE * hole.exit_diameter_u_mm) for rank, hole in enumerate(holes, 1)
    ]
    drawn.band(
        "area band", [(x, y - reach_mm) for x, y, reach_mm in band], [(x, y + reach_mm) for x, y, reach_mm in band]
    )
    for rank, hole in enumerate(holes, 1):
        exit_mm, reach_mm = hole.exit_diameter_mm, COVERAGE * hole.exit_diameter_u_mm
        title = f"Hole {hole.hole}: {exit_mm:.3f} ± {reach_mm:.3f} mm"
        drawn.dot("dot estimate", rank, exit_mm, title)
        if hole.hole in truths:
            drawn.dot("dot truth", rank, truths[hole.hole], f"{title}, true {truths[hole.hole]:.3f} mm")
    return drawn


def length_chart(record: RunRecord) -> Chart:
    """Tip length over the job: estimate with its band, measurements, advances; for a rehearsal also the truth."""
    track = _length_track(record)
    end_h = max([spot.time_h for spot in track], default=1.0)
    low, high = padded([length for spot in track for length in (spot.low_mm, spot.high_mm)])
    legend = [("line estimate", "estimate"), ("dot measured", "measured"), ("line advance", "advance")]
    if record.true_tips:
        legend.append(("line truth", "truth of the virtual machine"))
    drawn = chart(
        "Electrode length",
        "How far the tip stands below the holder; the band is ± 2 standard uncertainties.",
        (0.0, end_h, "machine time, h"),
        (low, high, "mm"),
        legend,
    )
    drawn.band(
        "area band",
        [(spot.time_h, spot.low_mm) for spot in track],
        [(spot.time_h, spot.high_mm) for spot in track],
    )
    drawn.line("line truth", [(tip.time_s / S_PER_H, tip.tip_length_mm) for tip in record.true_tips])
    drawn.line("line estimate", [(spot.time_h, spot.length_mm) for spot in track])
    for event in record.events:
        if isinstance(event, ElectrodeMeasured):
            title = f"Measured {event.tip_length_mm:.3f} ± {COVERAGE * event.u_mm:.3f} mm after hole {event.hole}"
            drawn.dot("dot measured", event.time_s / S_PER_H, event.tip_length_mm, title)
        elif isinstance(event, ElectrodeAdvanced):
            title = f"Advance {event.count}: to {event.tip_length_mm:.2f} mm"
            drawn.whisker("line advance", event.time_s / S_PER_H, low, high, title)
    return drawn


def prediction_chart(record: RunRecord) -> Chart:
    """How far each prediction of the tip length was off, against what was allowed for."""
    measured = [event for event in record.events if isinstance(event, ElectrodeMeasured)]
    off = [(UM_PER_MM * (event.predicted_mm - event.tip_length_mm), _allowed_um(event)) for event in measured]
    # The prediction before the first measurement or after an advance is the operator's eye, not ours: it would flatten
    # the rest, so the chart is scaled to the other ones and those marks sit at its edge.
    usual = [shown for pair in off if pair[1] < UM_PER_MM for shown in (pair[0], pair[1], -pair[1])]
    drawn = chart(
        "Prediction at each measurement",
        "Predicted minus measured tip length; the upright line is ± 2 standard uncertainties around zero.",
        (0.5, len(measured) + 0.5, "measurement"),
        (*padded(usual), "µm"),
        [("dot measured", "predicted − measured"), ("whisker", "allowed for")],
    )
    drawn.line("line zero", [(0.5, 0.0), (len(measured) + 0.5, 0.0)])
    for rank, (event, (error_um, allowed_um)) in enumerate(zip(measured, off, strict=True), 1):
        title = f"Measurement {rank}, after hole {event.hole}: off {error_um:+.0f} µm, allowed ± {allowed_um:.0f} µm"
        drawn.whisker("whisker", rank, -allowed_um, allowed_um)
        drawn.dot("dot measured", rank, error_um, title)
    return drawn


def time_chart(record: RunRecord) -> Chart:
    """Time of each hole in drilling order, and the part of it spent eroding."""
    legend = [("dot estimate", "whole hole"), ("dot second", "eroding")]
    drawn = _per_hole_chart(
        record, "Time per hole", "s", [lambda hole: hole.seconds, lambda hole: hole.erode_s], legend
    )
    for rank, hole in enumerate(_drilled(record), 1):
        title = f"Hole {hole.hole}: {hole.seconds:.0f} s, eroding {hole.erode_s:.0f} s"
        drawn.dot("dot second", rank, hole.erode_s, title)
        drawn.dot("dot estimate", rank, hole.seconds, title)
    return drawn


def wear_chart(record: RunRecord) -> Chart:
    """Electrode length lost in each hole, in drilling order."""
    drawn = _per_hole_chart(record, "Wear per hole", "mm", [lambda hole: hole.wear_mm], [])
    for rank, hole in enumerate(_drilled(record), 1):
        drawn.dot("dot estimate", rank, hole.wear_mm, f"Hole {hole.hole}: {hole.wear_mm:.3f} mm")
    return drawn


def gap_chart(record: RunRecord) -> Chart:
    """Shares of the gap states while eroding, over the holes in drilling order."""
    shares = _gap_shares(record)
    legend = [("bar open", "open"), ("bar spark", "sparking"), ("bar short", "shorted"), ("bar off", "source off")]
    drawn = chart(
        "Gap state while eroding",
        "Share of the eroding time in each state, as the controller took it.",
        (0.0, float(max(1, len(shares))), "hole, in drilling order"),
        (0.0, 1.0, "share"),
        legend,
    )
    per_bar = -(-len(shares) // MOST_BARS)
    for first in range(0, len(shares), max(1, per_bar)):
        together = shares[first : first + per_bar]
        mean = [sum(each[state] for each in together) / len(together) for state in range(4)]
        _stack(drawn, first, len(together), mean)
    return drawn


@dataclass(slots=True, frozen=True)
class _Spot:
    time_h: float
    length_mm: float
    reach_mm: float

    @property
    def low_mm(self) -> float:
        return self.length_mm - self.reach_mm

    @property
    def high_mm(self) -> float:
        return self.length_mm + self.reach_mm


def _length_track(record: RunRecord) -> list[_Spot]:
    """The estimated tip length at every hole start and on both sides of every measurement."""
    track: list[_Spot] = []
    for event in record.events:
        time_h = event.time_s / S_PER_H
        if isinstance(event, HoleStarted):
            track.append(_Spot(time_h, event.tip_length_mm, COVERAGE * event.tip_length_u_mm))
        elif isinstance(event, ElectrodeMeasured):
            if track and _allowed_um(event) < UM_PER_MM:
                track.append(_Spot(time_h, event.predicted_mm, COVERAGE * event.predicted_u_mm))
            track.append(_Spot(time_h, event.tip_length_mm, COVERAGE * event.u_mm))
    return track


def _allowed_um(event: ElectrodeMeasured) -> float:
    return UM_PER_MM * COVERAGE * hypot(event.u_mm, event.predicted_u_mm)


def _drilled(record: RunRecord) -> list[HoleFinished]:
    return sorted(record.finished().values(), key=lambda hole: hole.start_s)


def _through(record: RunRecord) -> list[HoleFinished]:
    return [hole for hole in _drilled(record) if hole.outcome == "through"]


def _per_hole_chart(
    record: RunRecord,
    heading: str,
    unit: str,
    quantities: Sequence[Callable[[HoleFinished], float]],
    legend: list[tuple[str, str]],
) -> Chart:
    holes = _drilled(record)
    _, high = padded(quantity(hole) for hole in holes for quantity in quantities)
    x = (0.5, len(holes) + 0.5, "hole, in drilling order")
    return chart(heading, "In drilling order.", x, (0.0, high, unit), legend)


def _gap_shares(record: RunRecord) -> list[tuple[float, float, float, float]]:
    """Gap-state shares of each hole in drilling order, reports weighted by the time they cover."""
    held: dict[int, list[float]] = {}
    last_s = 0.0
    for event in record.events:
        if isinstance(event, HoleProgress):
            weight = max(0.0, event.time_s - last_s)
            sums = held.setdefault(event.hole, [0.0, 0.0, 0.0, 0.0])
            for state, share in enumerate((event.open_share, event.spark_share, event.short_share, event.off_share)):
                sums[state] += weight * share
        if isinstance(event, HoleProgress | HoleStarted):
            last_s = event.time_s
    shares = [held[hole.hole] for hole in _drilled(record) if sum(held.get(hole.hole, ())) > 0]
    return [
        (a / (a + b + c + d), b / (a + b + c + d), c / (a + b + c + d), d / (a + b + c + d)) for a, b, c, d in shares
    ]


def _stack(drawn: Chart, first: int, count: int, mean: Sequence[float]) -> None:
    """One bar of four shares over the holes `first` + 1 to `first` + `count`."""
    words = f"open {mean[0]:.0%}, sparking {mean[1]:.0%}, shorted {mean[2]:.0%}, source off {mean[3]:.0%}"
    holes = f"{first + 1}" if count == 1 else f"{first + 1} to {first + count}"
    floor = 0.0
    for style, share in zip(("bar spark", "bar open", "bar short", "bar off"), _order(mean), strict=True):
        drawn.bar(style, (first, first + count), (floor, floor + share), f"Hole {holes} in order: {words}")
        floor += share


def _order(mean: Sequence[float]) -> tuple[float, float, float, float]:
    """Sparking at the bottom, where its level is read most easily."""
    return mean[1], mean[0], mean[2], mean[3]
