"""A device with 16 coils, for the tests: a pymodbus server on a loopback port. Each line on its input asks for coil 3 of unit 7; it ends with its input."""

import asyncio
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server.async_io import StartAsyncTcpServer

device = ModbusSlaveContext(co=ModbusSequentialDataBlock(0, [False] * 16), zero_mode=True)


async def main() -> None:
    context = ModbusServerContext(slaves={7: device}, single=False)
    asyncio.create_task(StartAsyncTcpServer(context=context, address=("127.0.0.1", int(sys.argv[1]))))
    await asyncio.sleep(0.3)
    print("ready", flush=True)
    loop = asyncio.get_running_loop()
    while await loop.run_in_executor(None, sys.stdin.readline):
        print("on" if device.getValues(1, 3, 1)[0] else "off", flush=True)


asyncio.run(main())
