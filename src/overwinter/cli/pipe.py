"""`pipe`: hours until still water in a pipe reaches freezing, and until it is frozen through."""

import math

from overwinter.cli.ask import print_json
from overwinter.cli.figures import Figures
from overwinter.cli.options import JSON, Verb
from overwinter.core.nouns import PipeSpec
from overwinter.core.units import Unit

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from overwinter.physics.pipe import Freezing
    from overwinter.physics.ranges import Range

VERB = Verb(
    "pipe",
    about="""Hours until still water in a pipe reaches freezing, and from the same start until all is ice,
in air that stays as cold. Bore, outside, water and air are needed.

36F and 2.2C say their unit; a bare number is in F. Each figure comes with the least and most it may be.""",
    examples=(
        "overwinter pipe --bore-mm 26 --outside-mm 28 --insulation-mm 25 --water 45F --air 10F",
        "overwinter pipe --bore-mm 5 --outside-mm 6.35 --water 5C --air -10C   (a bare line to a switch)",
    ),
    options={
        "bore-mm": ("MM", "inner diameter of the pipe, 0.5 to 2000"),
        "outside-mm": ("MM", "outer diameter of the pipe, more than the bore"),
        "insulation-mm": ("MM", "thickness of the insulation, 0 to 1000; 0, bare, unless given"),
        "insulation-w-mk": ("K", "its conductivity in W/(m K), 0.005 to 5; 0.035 unless given"),
        "water": ("T", "temperature of the water at the start, 32F to 140F"),
        "air": ("T", "temperature of the air around the pipe"),
        "json": JSON,
    },
)


def run(argv: list[str]) -> int:
    """Compute and print; no guard and no file is needed."""
    given = VERB.parse(argv)
    from overwinter.physics.pipe import freezing

    figures = Figures(Unit.F)
    bore_mm = figures.number("--bore-mm", given.value("bore-mm"), 0.5, 2000.0, "mm")
    outside_mm = figures.number("--outside-mm", given.value("outside-mm"), 0.5, 2000.0, "mm")
    insulation_mm = figures.number("--insulation-mm", given.value("insulation-mm") or "0", 0.0, 1000.0, "mm")
    conductivity_w_mk = figures.number(
        "--insulation-w-mk", given.value("insulation-w-mk") or "0.035", 0.005, 5.0, "W/(m K)"
    )
    water_c = figures.temperature_c("--water", given.value("water"), 0.0, 60.0)
    air_c = figures.temperature_c("--air", given.value("air"), -90.0, 60.0)
    if outside_mm <= bore_mm:
        figures.refuse(
            f"--outside-mm = {outside_mm:g}: must be more than the bore of {bore_mm:g} mm; "
            "it is measured over the wall"
        )
    figures.stop_if_wrong(VERB)

    pipe = PipeSpec(
        name="pipe",
        length_m=None,
        bore_m=bore_mm / 1000.0,
        outside_m=outside_mm / 1000.0,
        insulation_m=insulation_mm / 1000.0,
        insulation_w_mk=conductivity_w_mk,
    )
    times = freezing(pipe, water_c=water_c, air_c=air_c)
    if given.has("json"):
        print_json(
            {
                "water_c": water_c,
                "air_c": air_c,
                "start_h": _facts(times.start_h),
                "solid_h": _facts(times.solid_h),
            }
        )
    else:
        print(_text(pipe, times, water_c=water_c, air_c=air_c))
    return 0


def _facts(hours: "Range") -> dict[str, float | None]:
    """A range for programs; null where it never happens."""
    values = {"best": hours.best, "low": hours.low, "high": hours.high}
    return {name: value if math.isfinite(value) else None for name, value in values.items()}


def _text(pipe: PipeSpec, times: "Freezing", *, water_c: float, air_c: float) -> str:
    from overwinter.show.text import duration, temperature

    covered = f"under {1000.0 * pipe.insulation_m:g} mm of insulation" if pipe.insulation_m else "bare"
    lines = [
        f"water of {temperature(water_c, 'F')} standing in air of {temperature(air_c, 'F')},",
        f"in a pipe of {1000.0 * pipe.bore_m:g} mm bore, {covered}",
    ]
    if not math.isfinite(times.start_h.best):
        return "\n".join([*lines, "never freezes: the air is not below 32 F (0 C)"])

    def told(hours: "Range") -> str:
        best, low, high = (duration(3600.0 * value) for value in (hours.best, hours.low, hours.high))
        return f"{best} ({low} to {high})"

    lines += [
        f"at freezing, 32 F (0 C), after  {told(times.start_h)}",
        f"frozen through after            {told(times.solid_h)}",
        "From the first moment on ice may form, and a plug of it may burst the pipe long before it is solid.",
    ]
    if pipe.insulation_m:
        lines.append(
            "Method: ASHRAE's, insulation alone, without the air film and the pipe's wall, so rather early."
        )
        lines.append("Least: insulation a fifth worse. Most: with film and a steel wall.")
    else:
        lines.append("Method: one lump of water behind the still air's film, without the pipe's wall.")
        lines.append("Least: a draught of 0.5 m/s. Most: with a steel wall.")
    lines.append(
        "Not counted: fittings, heat along the pipe, water that stays liquid below freezing for a while."
    )
    return "\n".join(lines)
