"""Values from a real Modbus server, over TCP and over a serial line made of two terminals."""

import asyncio
import os
import select
import struct
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.modbus import Kind, ModbusBus, ModbusValue
from tests.fixtures.ports import free_port

BAUD = 115_200


def words(kind: str, value: float) -> list[int]:
    """Registers of a value, most significant first (Modbus Application Protocol, §4.2)."""
    octets = struct.pack(f">{kind}", value)
    return [int.from_bytes(octets[i : i + 2], "big") for i in range(0, len(octets), 2)]


HOLDING = [
    0xFF9C,  # 0: −100
    *words("f", 21.5),  # 1, 2
    *reversed(words("f", -7.25)),  # 3, 4: least significant first
    *words("i", -123_456),  # 5, 6
    *words("d", 4.375),  # 7 to 10
    0x7FFF,  # 11: no sensor
    *words("f", float("nan")),  # 12, 13
]
INPUT = [451, 0xFFFF]


def device() -> SimDevice:
    bits = [SimData(0, values=[0], datatype=DataType.BITS)]
    return SimDevice(
        17,
        (
            bits,
            bits,
            [SimData(0, values=list(HOLDING), datatype=DataType.REGISTERS)],
            [SimData(0, values=list(INPUT), datatype=DataType.REGISTERS)],
        ),
    )


@contextmanager
def serving(make: type, **options: object) -> Iterator[None]:
    """Run a server of pymodbus in a thread of its own."""
    ready = threading.Event()
    loop = asyncio.new_event_loop()
    servers = []

    async def serve() -> None:
        server = make(device(), **options)
        servers.append(server)
        await server.serve_forever(background=True)
        ready.set()
        await asyncio.get_running_loop().create_future()

    def run() -> None:
        with pytest.raises(RuntimeError):  # stopped before its future is done
            loop.run_until_complete(serve())

    thread = threading.Thread(target=run)
    thread.start()
    try:
        assert ready.wait(10)
        yield
    finally:
        asyncio.run_coroutine_threadsafe(servers[0].shutdown(), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        for task in asyncio.all_tasks(loop):
            task.cancel()
        loop.run_until_complete(asyncio.sleep(0))
        loop.close()


@contextmanager
def cable() -> Iterator[tuple[str, str]]:
    """Give two serial devices, each of which reads what the other writes."""
    one, other = os.openpty(), os.openpty()
    for _, end in (one, other):
        tty.setraw(end)
    stopped = threading.Event()

    def carry() -> None:
        ends = {one[0]: other[0], other[0]: one[0]}
        while not stopped.is_set():
            for end in select.select(list(ends), [], [], 0.05)[0]:
                os.write(ends[end], os.read(end, 1024))

    thread = threading.Thread(target=carry)
    thread.start()
    try:
        yield os.ttyname(one[1]), os.ttyname(other[1])
    finally:
        stopped.set()
        thread.join()
        for end in (*one, *other):
            os.close(end)


@pytest.fixture(params=["tcp", "rtu"])
def bus(request: pytest.FixtureRequest) -> Iterator[ModbusBus]:
    if request.param == "tcp":
        port = free_port()
        with serving(ModbusTcpServer, address=("127.0.0.1", port)):
            line = ModbusBus.tcp(host="127.0.0.1", port=port, timeout_s=2)
            yield line
            line.close()
        return
    with cable() as (far, near), serving(ModbusSerialServer, port=far, baudrate=BAUD):
        line = ModbusBus.rtu(device=near, baud=BAUD, parity="N", stop_bits=1, timeout_s=2)
        yield line
        line.close()


def read(
    bus: ModbusBus,
    register: int,
    kind: Kind,
    *,
    function: int = 3,
    unit_id: int = 17,
    little: bool = False,
    scale: float = 1.0,
    offset: float = 0.0,
    missing: tuple[float, ...] = (),
) -> float:
    return ModbusValue(
        bus,
        unit_id=unit_id,
        function=function,
        register=register,
        kind=kind,
        word_order="little" if little else "big",
        scale=scale,
        offset=offset,
        missing=missing,
    ).read()


def test_values_are_read_as_they_are_told(bus: ModbusBus):
    assert read(bus, 0, "int16") == -100
    assert read(bus, 0, "int16", scale=0.1) == pytest.approx(-10.0)
    assert read(bus, 0, "uint16") == 0xFF9C
    assert read(bus, 1, "float32") == 21.5
    assert read(bus, 3, "float32", little=True) == -7.25
    assert read(bus, 5, "int32") == -123_456
    assert read(bus, 7, "float64") == 4.375
    assert read(bus, 0, "uint16", function=4) == 451
    # 45.1 °F is 7.28 °C.
    fahrenheit = read(bus, 0, "int16", function=4, scale=0.1 / 1.8, offset=-32 / 1.8)
    assert fahrenheit == pytest.approx((45.1 - 32) / 1.8)


def test_what_is_no_value_is_told(bus: ModbusBus):
    with pytest.raises(Unreadable, match="reports no sensor"):
        read(bus, 11, "int16", missing=(32767,))
    with pytest.raises(Unreadable, match="no number"):
        read(bus, 12, "float32")
    with pytest.raises(Unreadable, match="refused with exception 2"):  # illegal data address
        read(bus, 500, "int16")


def test_a_server_that_comes_back_is_read_again():
    port = free_port()
    line = ModbusBus.tcp(host="127.0.0.1", port=port, timeout_s=0.5)
    with pytest.raises(Unreadable, match="cannot be opened"):
        read(line, 0, "int16")
    for _ in range(2):
        with serving(ModbusTcpServer, address=("127.0.0.1", port)):
            assert read(line, 0, "int16") == -100
        with pytest.raises(Unreadable):
            read(line, 0, "int16")
    line.close()


def crc16(octets: bytes) -> bytes:
    """Return the checksum of RTU (Modbus over Serial Line V1.02, 6.2.2)."""
    remainder = 0xFFFF
    for octet in octets:
        remainder ^= octet
        for _ in range(8):
            remainder = (remainder >> 1) ^ (0xA001 if remainder & 1 else 0)
    return remainder.to_bytes(2, "little")


@contextmanager
def slow_device(delays: list[float]) -> Iterator[str]:
    """Give a serial line to a device whose every register holds its own number.

    Parameters
    ----------
    delays
        How long it takes over each question, in their order; then it answers at once.
    """
    far, near = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    ended = threading.Event()
    answers: list[threading.Timer] = []

    def serve() -> None:
        heard = b""
        while not ended.is_set():
            if select.select([far], [], [], 0.02)[0]:
                heard += os.read(far, 256)
            if len(heard) >= 8:  # a question: unit, function, register, count, checksum
                unit, function, register, _ = struct.unpack(">BBHH", heard[:6])
                heard = heard[8:]
                said = struct.pack(">BBBh", unit, function, 2, register)
                delay = delays.pop(0) if delays else 0.0
                answers.append(threading.Timer(delay, os.write, (far, said + crc16(said))))
                answers[-1].start()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield os.ttyname(near)
    finally:
        ended.set()
        thread.join()
        for answer in answers:
            answer.join()
        os.close(near)
        os.close(far)


@pytest.mark.parametrize("late", [1.2, 1.8])
def test_a_late_answer_on_a_serial_line_is_never_taken_for_another_registers(late: float):
    timeout_s = 0.4
    with slow_device([0.0, late * timeout_s]) as device:
        line = ModbusBus.rtu(device=device, baud=BAUD, parity="N", stop_bits=1, timeout_s=timeout_s)
        assert read(line, 1, "int16") == 1
        with pytest.raises(Unreadable, match="no answer"):
            read(line, 2, "int16")
        assert [read(line, register, "int16") for register in (3, 4, 5)] == [3, 4, 5]
        line.close()
