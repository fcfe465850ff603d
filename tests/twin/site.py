"""A site for plays: one simulated sensor of each role, and one that is none of the play's business."""

from overwinter.core.nouns import RelaySpec, Role, SensorSpec, Site

CONTROL = "by the pump"

SITE = Site(
    sensors=(
        SensorSpec(name=CONTROL, role=Role.CONTROL, kind="simulated"),
        SensorSpec(name="on the pipe", role=Role.EXTRA, kind="simulated", at="pipe"),
        SensorSpec(name="outdoors", role=Role.OUTDOOR, kind="simulated"),
        SensorSpec(name="on a wire", role=Role.EXTRA, kind="w1", path="/sys/bus/w1/devices/28-000000000001"),
    ),
    relay=RelaySpec(kind="simulated"),
)
