"""Values in the registers of Modbus devices, over TCP or a serial line (RTU).

Modbus Application Protocol V1.1b3: a register has 16 bits, most significant octet first; which of
two registers comes first is the maker's choice.
"""

import math
from collections.abc import Collection, Sequence
from typing import Final, Literal

from pymodbus import ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from drumkeep_sensors.drivers.driver import Unreadable

RETRIES: Final = 1
READ_HOLDING: Final = 3

Kind = Literal["int16", "uint16", "int32", "uint32", "float32", "float64"]


class ModbusBus:
    """One line, shared by the sensors on it; opened when it is first needed, and again if lost."""

    def __init__(self, client: ModbusTcpClient | ModbusSerialClient) -> None:
        self._client = client

    @classmethod
    def tcp(cls, *, host: str, port: int, timeout_s: float) -> "ModbusBus":
        """Give a line over TCP."""
        return cls(ModbusTcpClient(host, port=port, timeout=timeout_s, retries=RETRIES))

    @classmethod
    def rtu(
        cls, *, device: str, baud: int, parity: str, stop_bits: int, timeout_s: float
    ) -> "ModbusBus":
        """Give a serial line."""
        return cls(
            ModbusSerialClient(
                device,
                baudrate=baud,
                parity=parity,
                stopbits=stop_bits,
                timeout=timeout_s,
                retries=RETRIES,
            )
        )

    def registers(self, *, function: int, address: int, count: int, unit_id: int) -> Sequence[int]:
        """Read registers.

        Raises
        ------
        Unreadable
            Nobody answers, or the device refuses.
        """
        client = self._client
        read = (
            client.read_holding_registers
            if function == READ_HOLDING
            else client.read_input_registers
        )
        try:
            if not client.connected and not client.connect():
                raise Unreadable("line cannot be opened")
            answer = read(address, count=count, device_id=unit_id)
        except (ModbusException, OSError):
            self.close()  # the next reading opens it anew
            raise Unreadable("no answer") from None
        if answer.isError():
            raise Unreadable(f"refused with exception {answer.exception_code}")
        if len(answer.registers) != count:
            raise Unreadable("answer of a wrong length")
        return answer.registers

    def close(self) -> None:
        """Let go of the line."""
        self._client.close()  # type: ignore[no-untyped-call]


class ModbusValue:
    """One value: ``raw × scale + offset``."""

    def __init__(
        self,
        bus: ModbusBus,
        *,
        unit_id: int,
        function: int,
        register: int,
        kind: Kind,
        word_order: Literal["big", "little"],
        scale: float,
        offset: float,
        missing: Collection[float],
    ) -> None:
        self._bus = bus
        self._unit_id, self._function, self._register = unit_id, function, register
        self._kind = ModbusTcpClient.DATATYPE[kind.upper()]
        self._word_order = word_order
        self._scale, self._offset, self._missing = scale, offset, missing

    def read(self) -> float:
        """Return the value in the unit of its configuration."""
        registers = self._bus.registers(
            function=self._function,
            address=self._register,
            count=self._kind.value[1],
            unit_id=self._unit_id,
        )
        raw = ModbusTcpClient.convert_from_registers(
            registers, self._kind, word_order=self._word_order
        )
        if not isinstance(raw, int | float) or not math.isfinite(raw):
            raise Unreadable("no number")
        if raw in self._missing:
            raise Unreadable("device reports no sensor")
        return raw * self._scale + self._offset
