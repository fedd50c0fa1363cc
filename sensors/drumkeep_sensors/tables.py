"""The tables of a gateway's configuration, with what each key means.

``deploy/gateway/gateway.toml`` in the checkout shows them in use.
"""

from typing import Annotated, Final, Literal

import msgspec

from drumkeep_wire.topics import DEFAULT_ROOT

UNITS: Final = ("Cel", "%RH", "%EL", "V", "A", "W", "dBW", "Pa", "kg", "m", "m/s", "W/m2", "/")
"""Units of RFC 8428 §12.1 that a shed has a use for. It has neither °F nor psi."""

DAY_S: Final = 86_400.0
PLAIN_PORT: Final = 1883
TLS_PORT: Final = 8883
REGISTER_BITS: Final = 16
LAST_REGISTER: Final = 65_535
"""Modbus Application Protocol V1.1b3, 4.4."""

_Interval = Annotated[float, msgspec.Meta(ge=0.1, le=DAY_S)]
_Port = Annotated[int, msgspec.Meta(ge=1, le=65_535)]
_Text = Annotated[str, msgspec.Meta(min_length=1)]
_UnitId = Annotated[int, msgspec.Meta(ge=0, le=247)]
_Register = Annotated[int, msgspec.Meta(ge=0, le=LAST_REGISTER)]


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A table of the file; a key that is not known is refused."""


class GatewayTable(Table, frozen=True, kw_only=True):
    """Who the gateway is.

    Attributes
    ----------
    urn
        Its device name of RFC 9039; else it is made of the hardware address of ``interface``.
    state
        Folder of the spool.
    interval_s
        How often a sensor is read that does not say so itself.
    """

    site: str
    code: str
    state: _Text
    urn: str | None = None
    interface: str | None = None
    interval_s: _Interval = 60.0


class TlsTable(Table, frozen=True, kw_only=True):
    """How the broker proves who it is, and how the gateway does. PEM files.

    Attributes
    ----------
    ca
        Who signed the broker's certificate; None for those that the system trusts.
    certificate, key
        The gateway's own, both or neither.
    """

    ca: str | None = None
    certificate: str | None = None
    key: str | None = None


class BrokerTable(Table, frozen=True, kw_only=True):
    """Where the broker is. With a table ``tls`` the line is encrypted, always with checked names.

    Attributes
    ----------
    password_file
        Its first line is the password; better than ``password`` in a file that many may read. Read
        again whenever the broker refuses us.
    keepalive_s
        A line on which nothing comes for twice as long counts as lost, and another is begun.
    """

    host: _Text
    port: _Port | None = None
    root: str = DEFAULT_ROOT
    username: str | None = None
    password: str | None = None
    password_file: str | None = None
    keepalive_s: Annotated[int, msgspec.Meta(ge=1, le=3600)] = 30
    tls: TlsTable | None = None


class SpoolTable(Table, frozen=True, kw_only=True):
    """How much is kept while nobody confirms; beyond it the oldest readings are thinned."""

    readings: Annotated[int, msgspec.Meta(ge=1000, le=50_000_000)] = 1_000_000


class ClockTable(Table, frozen=True, kw_only=True):
    """When the clock is believed: once the kernel says that it is synchronised, or always.

    ``always`` is for a board whose clock has a battery and that never sees a time server.
    """

    trust: Literal["ntp", "always"] = "ntp"


class LinuxTable(Table, frozen=True, kw_only=True):
    """Where the kernel shows its devices."""

    sysfs: str = "/sys"
    procfs: str = "/proc"


class ModbusTable(Table, frozen=True, kw_only=True):
    """A Modbus line: ``host`` for TCP, ``device`` for RTU on a serial port."""

    name: _Text
    host: str | None = None
    port: _Port = 502
    device: str | None = None
    baud: Annotated[int, msgspec.Meta(ge=300, le=4_000_000)] = 9600
    parity: Literal["N", "E", "O"] = "E"
    stop_bits: Literal[1, 2] = 1
    timeout_s: Annotated[float, msgspec.Meta(gt=0, le=60)] = 2.0


class SensorTable(Table, frozen=True, kw_only=True, tag_field="driver"):
    """What every sensor may say.

    Attributes
    ----------
    name
        SenML name; one that does not begin with ``urn:`` is put behind the gateway's.
    unit
        SenML unit, where the driver cannot know it.
    """

    name: str | None = None
    unit: str | None = None
    interval_s: _Interval | None = None


class OneWireSensor(SensorTable, frozen=True, kw_only=True, tag="one-wire"):
    """A thermometer on the kernel's 1-Wire bus, by its folder there: ``28-0316a2794bff``."""

    device: Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{2}-[0-9a-f]{12}$")]


class HwmonSensor(SensorTable, frozen=True, kw_only=True, tag="hwmon"):
    """A channel of a chip in ``/sys/class/hwmon``, by the chip's name.

    Attributes
    ----------
    at
        The device behind it (``1-0044``), needed where two chips have one name.
    """

    chip: _Text
    channel: Annotated[str, msgspec.Meta(pattern=r"^(temp|humidity|in)[0-9]+$")]
    at: str | None = None


class IioSensor(SensorTable, frozen=True, kw_only=True, tag="iio"):
    """A channel of a device in ``/sys/bus/iio/devices``, by the device's name."""

    chip: _Text
    channel: Annotated[str, msgspec.Meta(pattern=r"^in_(temp|humidityrelative|voltage)[0-9a-z_]*$")]
    at: str | None = None


class ModbusSensor(SensorTable, frozen=True, kw_only=True, tag="modbus"):
    """A value in registers: ``raw × scale + offset``.

    Attributes
    ----------
    bus
        Name of a ``[[modbus]]`` table.
    function
        3 reads holding registers, 4 input registers.
    register
        Address as it goes over the line, from 0: 30001 in a manual is 0 with function 4.
    word_order
        Which of several registers comes first, the most or the least significant.
    missing
        Raw values by which the device says that it has no reading.
    """

    bus: _Text
    unit_id: _UnitId = 1
    function: Literal[3, 4] = 4
    register: _Register
    type: Literal["int16", "uint16", "int32", "uint32", "float32", "float64"] = "int16"
    word_order: Literal["big", "little"] = "big"
    scale: float = 1.0
    offset: float = 0.0
    missing: list[float] = msgspec.field(default_factory=list)


class BatterySensor(SensorTable, frozen=True, kw_only=True, tag="battery"):
    """The charge or the voltage of a supply in ``/sys/class/power_supply``."""

    supply: _Text
    what: Literal["charge", "voltage"] = "charge"


class SignalSensor(SensorTable, frozen=True, kw_only=True, tag="signal"):
    """How strongly a wireless interface is heard, from ``/proc/net/wireless``."""

    interface: _Text


class CsvSensor(SensorTable, frozen=True, kw_only=True, tag="csv"):
    """Values of a CSV file of epoch seconds and value, with straight lines between.

    Attributes
    ----------
    begins
        ``recorded`` reads the file at the present time, ``now`` as if it began with the gateway.
    beyond
        After its last line it is silent, or its last day comes again and again.
    """

    file: _Text
    begins: Literal["now", "recorded"] = "now"
    beyond: Literal["silent", "repeat"] = "silent"


class SimulatedSensor(SensorTable, frozen=True, kw_only=True, tag="simulation"):
    """A sine: to try a gateway that has no sensors yet."""

    mean: float
    swing: float = 0.0
    period_s: Annotated[float, msgspec.Meta(gt=0)] = DAY_S


AnySensor = (
    OneWireSensor
    | HwmonSensor
    | IioSensor
    | ModbusSensor
    | BatterySensor
    | SignalSensor
    | CsvSensor
    | SimulatedSensor
)


class Configuration(Table, frozen=True, kw_only=True):
    """A whole file."""

    gateway: GatewayTable
    broker: BrokerTable
    sensors: Annotated[list[AnySensor], msgspec.Meta(min_length=1)]
    modbus: list[ModbusTable] = msgspec.field(default_factory=list)
    spool: SpoolTable = SpoolTable()
    clock: ClockTable = ClockTable()
    linux: LinuxTable = LinuxTable()


TABLES: Final[tuple[type[msgspec.Struct], ...]] = (
    Configuration,
    GatewayTable,
    BrokerTable,
    TlsTable,
    SpoolTable,
    ClockTable,
    LinuxTable,
    ModbusTable,
    OneWireSensor,
    HwmonSensor,
    IioSensor,
    ModbusSensor,
    BatterySensor,
    SignalSensor,
    CsvSensor,
    SimulatedSensor,
)
"""Every kind of table, for what they may hold."""
