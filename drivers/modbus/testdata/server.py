"""A Modbus TCP server of known content for the driver's test, on pymodbus: an implementation that is not ours.

Usage: server.py PORT. It prints "ready" when it listens, and ends when its input ends.
"""
import asyncio
import os
import struct
import sys
import threading

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.server.async_io import ModbusTcpServer


def words(fmt, value):
    data = struct.pack(">" + fmt, value)
    return [int.from_bytes(data[i:i + 2], "big") for i in range(0, len(data), 2)]


def content():
    inputs = [215, 480] + words("h", -50) + [0x7FFF, 0xFFFF] + words("i", -70000) + words("I", 70000) + words("f", 123.456)
    holding = words("f", 750.25)[::-1] + words("i", -70000)[::-1]
    return ModbusSlaveContext(
        ir=ModbusSparseDataBlock(dict(enumerate(inputs))),
        hr=ModbusSparseDataBlock(dict(enumerate(holding, 12))),
        co=ModbusSequentialDataBlock(0, [1, 0, 1]),
        di=ModbusSequentialDataBlock(0, [0, 1, 1]),
        zero_mode=True,
    )


def end_with_input():
    sys.stdin.buffer.read()
    os._exit(0)


async def main():
    server = ModbusTcpServer(ModbusServerContext(slaves={7: content()}, single=False), address=("127.0.0.1", int(sys.argv[1])))
    serving = asyncio.ensure_future(server.serve_forever())
    await server.serving
    print("ready", flush=True)
    await serving


threading.Thread(target=end_with_input, daemon=True).start()
asyncio.run(main())
