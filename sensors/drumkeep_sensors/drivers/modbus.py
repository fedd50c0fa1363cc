"""Values in the registers of Modbus devices, over TCP or a serial line (RTU).

Modbus Application Protocol V1.1b3: a register has 16 bits, most significant octet first; which of
two registers comes first is the maker's choice.
"""

import contextlib
import math
import time
from collections.abc import Collection, Sequence
from typing import Any, Final, Literal

from pymodbus import ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from drumkeep_sensors.drivers.driver import Unreadable

RETRIES: Final = 1
"""Over TCP, where an answer says to which question it is. On a serial line none is asked twice."""
LEAST_SILENCE_S: Final = 1.0
"""How long a serial line must be silent, at least, after a question that nobody answered."""
MOST_NOISE_S: Final = 10.0
"""How long it is listened to at most."""
READ_HOLDING: Final = 3

Kind = Literal["int16", "uint16", "int32", "uint32", "float32", "float64"]


class ModbusBus:
    """One line, shared by the sensors on it; opened when it is first needed, and again if lost.

    Parameters
    ----------
    client
        Speaks to it.
    silence_s
        How long nothing may come over it, after a question without an answer, before the next one
        is asked; None where answers are numbered.
    """

    def __init__(
        self, client: ModbusTcpClient | ModbusSerialClient, *, silence_s: float | None
    ) -> None:
        self._client = client
        self._silence_s = silence_s

    @classmethod
    def tcp(cls, *, host: str, port: int, timeout_s: float) -> "ModbusBus":
        """Give a line over TCP."""
        client = ModbusTcpClient(host, port=port, timeout=timeout_s, retries=RETRIES)
        return cls(client, silence_s=None)

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
                retries=0,
            ),
            silence_s=max(timeout_s, LEAST_SILENCE_S),
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
            self._give_up()  # the next reading opens it anew
            raise Unreadable("no answer") from None
        if answer.isError():
            raise Unreadable(f"refused with exception {answer.exception_code}")
        if len(answer.registers) != count:
            self._give_up()
            raise Unreadable("answer of a wrong length")
        return answer.registers

    def close(self) -> None:
        """Let go of the line."""
        self._client.close()  # type: ignore[no-untyped-call]

    def _give_up(self) -> None:
        """Let go of the line, and of an answer that may still be on its way.

        In RTU an answer says whose it is and how long, and not to which question: one that is late
        would pass for the next register's value.
        """
        line: Any = self._client.socket  # pymodbus says a network's, whichever it is
        if self._silence_s is not None and line is not None:
            until = time.monotonic() + MOST_NOISE_S
            with contextlib.suppress(OSError):
                line.timeout = self._silence_s
                while line.read(1) and time.monotonic() < until:
                    pass
        self.close()


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
