"""Sensors as sent and answered, with where they hung and how they were calibrated."""

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, Moment, MomentOut, Number


class MountIn(Body):
    """Where it hangs: a place as ``site/code``, or a drum's tag; ``since`` is now if left out.

    ``what`` is ``air``, ``floor``, ``humidity`` or ``sun`` (irradiance of the level, in the open)
    of a place, ``skin`` or ``liquid`` of a drum. ``height_m`` is above the bottom of a drum,
    mid-depth if left out.
    """

    what: Line
    place: Line | None = None
    drum: Line | None = None
    since: Moment | None = None
    until: Moment | None = None
    height_m: Number | None = None


class CalibrationIn(Body):
    """From ``since`` on, true value = gain x raw value + offset."""

    gain: Number = 1.0
    offset: Number = 0.0
    since: Moment | None = None


class SensorIn(Body):
    """A new sensor, known by its SenML name."""

    name: Line
    quantity: Line
    interval_s: Number
    unit: Line | None = None
    gateway: Line | None = None
    error_k: Number = 0.5
    mount: MountIn | None = None
    calibration: CalibrationIn | None = None


class SensorPatch(Body):
    """What may change; ``mount`` hangs it elsewhere, null takes it down now."""

    gateway: Line | None = None
    interval_s: Number = LEFT_OUT
    error_k: Number = LEFT_OUT
    mount: MountIn | None = None
    unmounted_at: Moment = LEFT_OUT
    calibration: CalibrationIn = LEFT_OUT


class MountOut(Answer):
    """Where it hung, from when till when; ``until`` null while it does."""

    what: str
    place: str | None
    drum: str | None
    since: MomentOut
    until: MomentOut | None
    height_m: float | None


class CalibrationOut(Answer):
    """How it was calibrated from then on."""

    since: MomentOut
    gain: float
    offset: float


class DoubtOut(Answer):
    """What it is doubted for, and since when; ``until`` null while it lasts.

    ``reason`` is ``range``, ``jump``, ``stuck`` or ``apart``; ``words`` say what was seen.
    """

    reason: str
    since: MomentOut
    until: MomentOut | None
    words: str


class SensorOut(Answer):
    """A sensor and its history, oldest first; doubts are those of the last 24 hours.

    They are told while it hangs somewhere. A doubted reading stays stored and has no say.
    """

    name: str
    gateway: str | None
    quantity: str
    unit: str
    interval_s: float
    error_k: float
    mounts: list[MountOut]
    calibrations: list[CalibrationOut]
    doubts: list[DoubtOut]
