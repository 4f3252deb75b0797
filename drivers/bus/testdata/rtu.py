"""A Modbus server on a serial line, of known content, on pymodbus: an implementation that is not ours.

Usage: rtu.py PORT. It prints "ready" when it listens, and ends when its input ends.
"""
import asyncio
import os
import sys
import threading

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.framer.rtu_framer import ModbusRtuFramer
from pymodbus.server.async_io import ModbusSerialServer


def content():
    return ModbusSlaveContext(
        ir=ModbusSparseDataBlock(dict(enumerate([215, 480, 0x10000 - 50]))),
        hr=ModbusSequentialDataBlock(0, list(range(1, 201))),
        co=ModbusSequentialDataBlock(0, [1, 0, 1]),
        di=ModbusSequentialDataBlock(0, [0, 1, 1]),
        zero_mode=True,
    )


def end_with_input():
    sys.stdin.buffer.read()
    os._exit(0)


async def main():
    context = ModbusServerContext(slaves={7: content()}, single=False)
    server = ModbusSerialServer(context, framer=ModbusRtuFramer, port=sys.argv[1], baudrate=19200, ignore_missing_slaves=True)
    await server.start()
    print("ready", flush=True)
    await server.serve_forever()


threading.Thread(target=end_with_input, daemon=True).start()
asyncio.run(main())
