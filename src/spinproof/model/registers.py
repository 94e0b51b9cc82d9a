"""The register map of a buffering test stand, shared by the virtual head and the recorder.

All addresses are offsets in the Modbus *input registers* (read) and *holding registers* (write)
of one unit id; one unit id is one head. Values of more than one register are big-endian, high
word first.

Input registers
---------------
``HEADER`` (64 registers): magic, protocol, flags, identity, record layout, newest block, state.
``RING``: ``RING_SLOTS`` blocks of ``BLOCK_REGISTERS`` registers; block *n* lies in slot
*n* mod ``RING_SLOTS``. A block is one read: a head of ``BLOCK_HEAD`` registers (block number
u32, number of its first sample u32, device time of that sample in microseconds u64 [kept in four
registers], run number u16, samples in the block u16), then the sample records.

Holding registers
-----------------
``ACKNOWLEDGE`` (u32): number of blocks read so far. Only a stand that runs faster than real
time wants it; it then waits for its reader instead of overwriting.
``PROGRAM_LENGTH``, ``PROGRAM``: a program as UTF-8 JSON (recipe, load, faults), two bytes a
register. ``COMMAND``: 1 start, 2 stop, 3 service. Only a simulated stand accepts these: the
recorder never writes to a real machine.
"""

from enum import IntEnum, IntFlag

MAGIC = 0x5350
PROTOCOL = 1

HEADER = 0
HEADER_REGISTERS = 64


class Header(IntEnum):
    """Offsets inside the header."""

    MAGIC = 0
    PROTOCOL = 1
    FLAGS = 2
    STATE = 3
    RUN_NUMBER = 4
    RECORD_REGISTERS = 5
    SAMPLES_PER_BLOCK = 6
    RING_SLOTS = 7
    SAMPLE_PERIOD_US = 8  # u32
    BLOCKS_WRITTEN = 10  # u32: how many blocks this run has so far
    DEVICE_TIME_US = 12  # u64
    PROGRAM_STATUS = 16  # 0 none, 1 accepted, 2 refused
    IDENTITY = 32  # 32 registers, ASCII, two characters each, padded with zeros


IDENTITY_REGISTERS = 32


class StandFlag(IntFlag):
    """Bits of ``Header.FLAGS``."""

    SIMULATED = 1
    WANTS_ACKNOWLEDGE = 2


class StandState(IntEnum):
    """Values of ``Header.STATE``."""

    IDLE = 0
    RUNNING = 1
    FINISHED = 2
    """The run is over, and its last block is in the ring."""


BLOCK_HEAD = 10
SAMPLES_PER_BLOCK = 5
RECORD_REGISTERS = 23
BLOCK_REGISTERS = BLOCK_HEAD + SAMPLES_PER_BLOCK * RECORD_REGISTERS  # 125: the most one read gives
RING = 64
RING_SLOTS = 400
SAMPLE_RATE_HZ = 20


class BlockHead(IntEnum):
    """Offsets inside the head of a block."""

    NUMBER = 0  # u32
    FIRST_SAMPLE = 2  # u32
    DEVICE_TIME_US = 4  # u64
    RUN_NUMBER = 8
    SAMPLES = 9


class Field(IntEnum):
    """Offsets inside a sample record of the virtual stand."""

    TACH_COUNT = 0  # u16
    TACH_EDGE_US = 1  # u32
    OPTICAL_COUNT = 3  # u16
    OPTICAL_EDGE_US = 4  # u32
    DISPLAY_SPEED = 6  # u16, 1 rpm
    STEP = 7  # u16
    STATUS = 8  # u16
    SEAL_PRESSURE = 9  # i16, 0.1 kPa gauge
    VIBRATION = 10  # u16, 0.01 mm/s
    MOTOR_CURRENT = 11  # i16, 0.01 A
    DI_FLOW = 12  # u16, 0.01 L/min
    DI_PRESSURE = 13  # u16, 0.01 bar gauge
    DRAIN_RESISTIVITY = 14  # u16, 0.01 MOhm cm
    FEED_RESISTIVITY = 15  # u16, 0.01 MOhm cm
    N2_FLOW = 16  # u16, 0.1 slm
    N2_TEMPERATURE = 17  # i16, 0.1 degC
    SPARE = 18


MISSING = 0xFFFF
"""What an unsigned 16-bit channel sends when it has no reading."""
MISSING_SIGNED = -32768
"""What a signed 16-bit channel sends when it has no reading."""

STEP_IDLE = 0
STEP_STOPPING = 100


class Status(IntFlag):
    """Bits of the stand's digital inputs."""

    RUNNING = 1 << 0
    """From the start command until the door is released, or the controller gives up."""
    MOTOR_ENABLED = 1 << 1
    DI_VALVE = 1 << 2
    N2_VALVE = 1 << 3
    HEATER = 1 << 4
    POSITIONER_OUT = 1 << 5
    HOME_SENSOR = 1 << 6
    """The rotor stands at 12 o'clock and is held there."""
    SEAL_VALVE = 1 << 7
    """The seal is fed; when it drops, the seal vents."""
    DOOR_LOCKED = 1 << 8
    DOOR_CLOSED = 1 << 9
    STOP_PRESSED = 1 << 10
    """An operator presses stop."""
    FAULT = 1 << 11
    """The controller reports a fault."""


HOLDING_ACKNOWLEDGE = 0  # u32
HOLDING_COMMAND = 2
HOLDING_PROGRAM_LENGTH = 3  # bytes
HOLDING_PROGRAM = 16
PROGRAM_REGISTERS = 4096


class Command(IntEnum):
    """Values of the command register; a simulated stand alone accepts them."""

    START = 1
    STOP = 2
    SERVICE = 3
    """Put wear back to new: tach gap, bearing drag, valves, seal."""
