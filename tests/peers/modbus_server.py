"""An RTU server of the pymodbus library on a pseudo-terminal; prints the line's name.

Unit 17 alone is on the line. Holding: 0 f32 2.5, 2 u16 4660, 3 i16 -1234, 4 i32 -70000, 6 f32_swapped -12.75, 10.. free to write,
30 answers (7) every sixth time only
after 150 ms, 40 answers with a bad checksum, 50 as if another unit did. Input: 0 u16 513, 1 f32 -0.125.
"""

import asyncio
import struct

from lines import announce, copy, raw_line
from pymodbus import FramerType
from pymodbus.framer import FramerRTU
from pymodbus.server import StartAsyncSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

UNIT, LATE, SPOILT, STRANGE = 17, 30, 40, 50
asked = {"register": None, "late": 0}


async def act(function, _base, start, _count, _registers, _values):
    asked["register"] = start if function == 3 else None
    if function == 3 and start == LATE:
        asked["late"] += 1
        if asked["late"] % 6 == 0:
            await asyncio.sleep(0.15)


def spoil(sending, data):
    if not sending:
        return data
    if data[0] != UNIT:  # the library speaks for units that are not there
        return b""
    if asked["register"] == SPOILT:
        return data[:-1] + bytes([data[-1] ^ 0x40])
    if asked["register"] == STRANGE:
        other = bytes([UNIT + 1]) + data[1:-2]
        return other + FramerRTU.compute_CRC(other).to_bytes(2, "big")
    return data


def words(kind, value):
    return list(struct.unpack(">HH", struct.pack(kind, value)))


def registers(address, values):
    return SimData(address, values=values, datatype=DataType.REGISTERS)


async def main():
    holding = [
        registers(0, words(">f", 2.5) + [4660, -1234 & 0xFFFF] + words(">i", -70000)),
        registers(6, list(reversed(words(">f", -12.75)))),
        registers(10, [0] * 8),
        registers(LATE, [7]),
        registers(SPOILT, [9]),
        registers(STRANGE, [11]),
    ]
    inputs = [registers(0, [513] + words(">f", -0.125))]
    bits = [SimData(0, values=[True] * 8, datatype=DataType.BITS)]
    device = SimDevice(UNIT, (bits, bits, holding, inputs), action=act)
    near_far, near_near, name = raw_line()
    far_far, far_near, port = raw_line()
    copy(near_far, far_far)
    copy(far_far, near_far)
    announce(name)
    await StartAsyncSerialServer(
        device,
        framer=FramerType.RTU,
        port=port,
        baudrate=115200,
        ignore_missing_devices=True,
        trace_packet=spoil,
    )


asyncio.run(main())
