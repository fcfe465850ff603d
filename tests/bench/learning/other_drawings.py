"""The seven pump houses of the other model, as a builder would draw them; guesses, from memory."""

from dataclasses import dataclass

# W/(m·K) and J/(m3·K)
MATERIALS = {
    "plywood": (0.13, 0.96e6),
    "planks": (0.12, 0.80e6),
    "polystyrene": (0.036, 0.042e6),
    "mineral wool": (0.040, 0.040e6),
    "steel": (50.0, 3.9e6),
    "hollow block": (0.70, 1.20e6),
    "brick": (0.60, 1.50e6),
    "plaster": (0.08, 0.30e6),
    "concrete": (1.8, 2.1e6),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A house in a builder's words."""

    heater_w: float
    heater_lag_s: float
    radiant_share: float
    volume_m3: float
    shell_m2: float
    slices: tuple[tuple[str, float], ...]  # five of (material, metres), from the inside
    changes_h: float  # at 4 m/s and 20 K
    air_factor: float  # what moves with the air, as a multiple of it
    things_j_k: float
    things_w_k: float
    tank_kg: float
    tank_w_k: float
    slab_m2: float
    slab_j_m2k: float = 2.0e5
    slab_w_m2k: float = 4.0  # to the air
    deep_w_m2k: float = 0.8  # to the ground
    ground_c: float = 4.0
    window_m2: float = 0.2
    absorbs: float = 0.5
    pipe_m: float = 3.0
    sensor_k_kw: float = 0.8  # the sensor above the mean air, per kW of warmth
    floor_k_kw: float = 1.2  # the pipe below it, per kW
    floor_share: float = 0.02  # and per kelvin of frost


HOUSES = {
    "insulated box": Drawing(
        heater_w=250.0,
        heater_lag_s=12.0,
        radiant_share=0.55,
        volume_m3=1.0,
        shell_m2=5.5,
        slices=(
            ("plywood", 0.012),
            ("polystyrene", 0.013),
            ("polystyrene", 0.013),
            ("polystyrene", 0.013),
            ("plywood", 0.009),
        ),
        changes_h=0.6,
        air_factor=8.0,
        things_j_k=15_000.0,
        things_w_k=6.0,
        tank_kg=25.0,
        tank_w_k=6.0,
        slab_m2=0.8,
        window_m2=0.0,
        pipe_m=1.5,
        sensor_k_kw=2.0,
        floor_k_kw=3.0,
    ),
    "insulated shed": Drawing(
        heater_w=250.0,
        heater_lag_s=12.0,
        radiant_share=0.55,
        volume_m3=12.0,
        shell_m2=30.0,
        slices=(
            ("plywood", 0.012),
            ("mineral wool", 0.030),
            ("mineral wool", 0.030),
            ("mineral wool", 0.030),
            ("planks", 0.020),
        ),
        changes_h=0.5,
        air_factor=6.0,
        things_j_k=120_000.0,
        things_w_k=40.0,
        tank_kg=150.0,
        tank_w_k=18.0,
        slab_m2=5.0,
        sensor_k_kw=2.5,
        floor_k_kw=3.0,
    ),
    "timber shed": Drawing(
        heater_w=750.0,
        heater_lag_s=45.0,
        radiant_share=0.15,
        volume_m3=16.0,
        shell_m2=38.0,
        slices=(
            ("planks", 0.010),
            ("planks", 0.010),
            ("mineral wool", 0.025),
            ("planks", 0.010),
            ("planks", 0.010),
        ),
        changes_h=1.5,
        air_factor=6.0,
        things_j_k=150_000.0,
        things_w_k=50.0,
        tank_kg=120.0,
        tank_w_k=15.0,
        slab_m2=6.0,
        window_m2=0.4,
    ),
    "leaky metal shed": Drawing(
        heater_w=1500.0,
        heater_lag_s=45.0,
        radiant_share=0.1,
        volume_m3=13.0,
        shell_m2=33.0,
        slices=(
            ("plywood", 0.003),
            ("plywood", 0.003),
            ("plywood", 0.003),
            ("polystyrene", 0.010),
            ("steel", 0.001),
        ),
        changes_h=4.5,
        air_factor=12.0,
        things_j_k=100_000.0,
        things_w_k=40.0,
        tank_kg=100.0,
        tank_w_k=15.0,
        slab_m2=5.0,
        absorbs=0.6,
    ),
    "uninsulated block house": Drawing(
        heater_w=1500.0,
        heater_lag_s=45.0,
        radiant_share=0.1,
        volume_m3=18.0,
        shell_m2=40.0,
        slices=(("hollow block", 0.04),) * 5,
        changes_h=1.2,
        air_factor=12.0,
        things_j_k=120_000.0,
        things_w_k=45.0,
        tank_kg=200.0,
        tank_w_k=20.0,
        slab_m2=7.0,
    ),
    "brick house with oil heater": Drawing(
        heater_w=1000.0,
        heater_lag_s=900.0,
        radiant_share=0.35,
        volume_m3=19.0,
        shell_m2=42.0,
        slices=(("plaster", 0.025), ("brick", 0.06), ("brick", 0.06), ("brick", 0.06), ("brick", 0.06)),
        changes_h=0.8,
        air_factor=6.0,
        things_j_k=150_000.0,
        things_w_k=50.0,
        tank_kg=200.0,
        tank_w_k=20.0,
        slab_m2=7.0,
    ),
    "underground vault": Drawing(
        heater_w=400.0,
        heater_lag_s=45.0,
        radiant_share=0.2,
        volume_m3=7.0,
        shell_m2=7.0,
        slices=(
            ("concrete", 0.05),
            ("concrete", 0.05),
            ("concrete", 0.05),
            ("polystyrene", 0.012),
            ("polystyrene", 0.012),
        ),
        changes_h=0.5,
        air_factor=6.0,
        things_j_k=80_000.0,
        things_w_k=25.0,
        tank_kg=180.0,
        tank_w_k=18.0,
        slab_m2=20.0,  # floor and walls, all against soil
        slab_j_m2k=4.0e5,
        slab_w_m2k=3.0,
        deep_w_m2k=0.7,
        ground_c=3.0,
        window_m2=0.0,
        absorbs=0.4,
        sensor_k_kw=1.5,
    ),
}
NAMES = tuple(HOUSES)
