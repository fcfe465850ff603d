"""`air`: dew point, frost point and moisture of air, by themselves."""

from overwinter.cli.ask import print_json
from overwinter.cli.figures import Figures
from overwinter.cli.options import JSON, Verb
from overwinter.core.units import Unit

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from overwinter.physics.air import Over

VERB = Verb(
    "air",
    "TEMPERATURE HUMIDITY",
    about="""Dew point, frost point and moisture of air at TEMPERATURE and relative HUMIDITY in %.

36F and 2.2C say their unit; a bare number is in F. HUMIDITY is over liquid water, also below freezing, as
common sensors report it; many weather files there mean over ice, which --over ice says.""",
    examples=("overwinter air 36F 80", "overwinter air -10C 80 --json", "overwinter air -10C 80 --over ice"),
    options={
        "over": ("WHAT", "what HUMIDITY refers to: water (unless given) or ice (only at or below freezing)"),
        "altitude-m": ("M", "height above sea level in metres, -500 to 9000; 0 unless given"),
        "json": JSON,
    },
)


def run(argv: list[str]) -> int:
    """Compute and print; no guard and no file is needed."""
    given = VERB.parse(argv, most=2)
    from overwinter.physics import air

    figures = Figures(Unit.F)
    words = [*given.words, None, None]
    humidity = words[1].removesuffix("%") if words[1] else words[1]
    temperature_c = figures.temperature_c("TEMPERATURE", words[0], *air.RANGE_C)
    humidity_pct = figures.number("HUMIDITY", humidity, 0.0, 100.0, "%", above=True)
    altitude_m = figures.number("--altitude-m", given.value("altitude-m") or "0", *air.ALTITUDES_M, "m")
    over_word = given.value("over") or air.Over.WATER
    if over_word not in tuple(air.Over):
        raise VERB.wrong(f"--over {over_word!r} is unknown; it takes water or ice")
    over = air.Over(over_word)
    if over is air.Over.ICE and temperature_c > 0.0:
        figures.refuse(f"TEMPERATURE = {words[0]}: must be at most 32 F (0 C) where humidity is over ice")
    figures.stop_if_wrong(VERB)

    if over is air.Over.ICE:
        saturation_pa = air.ice_saturation_pressure_pa(temperature_c)
    else:
        saturation_pa = air.saturation_pressure_pa(temperature_c)
    answer: dict[str, object] = {
        "temperature_c": temperature_c,
        "humidity_pct": humidity_pct,
        "over": over.value,
        "dew_point_c": air.dew_point_c(temperature_c, humidity_pct, over),
        "frost_point_c": air.frost_point_c(temperature_c, humidity_pct, over),
        "saturation_pressure_pa": saturation_pa,
        "humidity_ratio": air.humidity_ratio(temperature_c, humidity_pct, over, altitude_m=altitude_m),
        "altitude_m": altitude_m,
        "pressure_pa": air.pressure_pa(altitude_m),
    }
    if given.has("json"):
        print_json(answer)
    else:
        print(_text(temperature_c, humidity_pct, over, altitude_m=altitude_m, saturation_pa=saturation_pa))
    return 0


def _text(
    temperature_c: float, humidity_pct: float, over: "Over", *, altitude_m: float, saturation_pa: float
) -> str:
    from overwinter.physics import air
    from overwinter.show.text import number, temperature

    dew_c = air.dew_point_c(temperature_c, humidity_pct, over)
    frost_c = air.frost_point_c(temperature_c, humidity_pct, over)
    ratio = air.humidity_ratio(temperature_c, humidity_pct, over, altitude_m=altitude_m)
    lines = [f"air of {temperature(temperature_c, 'F')} at {number(humidity_pct, 1)} % over {over.value}"]
    if dew_c < air.RANGE_C[0]:
        lines.append(f"dew point      {temperature(dew_c, 'F')}, beyond the formula: a rough figure")
    else:
        lines.append(f"dew point      {temperature(dew_c, 'F')}")
    if frost_c is None:
        lines.append("frost point    none: above freezing this air makes dew, not frost")
    else:
        lines.append(f"frost point    {temperature(frost_c, 'F')}")
    lines.append(f"moisture       {1000.0 * ratio:.2f} g of water in each kg of dry air at {altitude_m:g} m")
    lines.append(f"saturation     {saturation_pa:.0f} Pa over {over.value} at this temperature")
    settles_c = dew_c if frost_c is None else frost_c
    what = "sweat" if frost_c is None else "collect frost"
    lines.append(f"Pipes and walls colder than {temperature(settles_c, 'F')} {what}.")
    if over is air.Over.WATER:
        error = air.dew_point_error(
            temperature_c, humidity_pct, temperature_error_k=0.5, humidity_error_pct=min(2.0, humidity_pct)
        )
        lines.append(f"A sensor good to 0.5 K and 2 % may be {error.worst_k:.1f} K off in that.")
    lines.append(
        "Magnus formulas over water (-45 to 60 C) and ice (-65 to 0 C); within 0.05 K of the libraries"
    )
    lines.append("psychrolib and CoolProp. Moisture within 0.3 % of ASHRAE's table.")
    return "\n".join(lines)
