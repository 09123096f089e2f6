"""A Modbus server made with pymodbus, for the tests against real peers:
pymodbus_server.py tcp PORT | rtu DEVICE. It answers as unit 5 with the words of
the tests' plant, and prints "ready" when it listens."""
import asyncio
import sys

from pymodbus import datastore
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext

try:  # names and places of servers and framers moved between releases
    from pymodbus.server import ModbusSerialServer, ModbusTcpServer
except ImportError:
    from pymodbus.server.async_io import ModbusSerialServer, ModbusTcpServer
try:
    from pymodbus import FramerType
    FRAMER = {"rtu": FramerType.RTU, "tcp": FramerType.SOCKET}
except ImportError:
    from pymodbus.framer.rtu_framer import ModbusRtuFramer
    from pymodbus.framer.socket_framer import ModbusSocketFramer
    FRAMER = {"rtu": ModbusRtuFramer, "tcp": ModbusSocketFramer}

UNIT, SIZE = 5, 200


def block(table, mask=0xFFFF):
    words = [(UNIT * 211 + table * 1009 + a * 7) % 20000 & mask for a in range(SIZE)]
    return ModbusSequentialDataBlock(1, words)


async def main(kind, where):
    device = getattr(datastore, "ModbusDeviceContext", None) or datastore.ModbusSlaveContext
    store = device(co=block(1, 1), di=block(2, 1), hr=block(3), ir=block(4))
    try:
        context = ModbusServerContext(devices={UNIT: store}, single=False)
    except TypeError:
        context = ModbusServerContext(slaves={UNIT: store}, single=False)
    if kind == "tcp":
        server = ModbusTcpServer(context, framer=FRAMER["tcp"], address=("127.0.0.1", int(where)))
    else:
        server = ModbusSerialServer(context, framer=FRAMER["rtu"], port=where, baudrate=19200, parity="N")
        if hasattr(server, "start"):
            await server.start()
    serving = asyncio.create_task(server.serve_forever())
    await asyncio.sleep(0.5)
    print("ready", end="", flush=True)
    await serving


asyncio.run(main(*sys.argv[1:]))
