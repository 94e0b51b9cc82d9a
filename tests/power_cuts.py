"""What a disk may hold after a power cut, rebuilt from the system calls of a traced program.

A file holds what was flushed, and of each later write all, nothing but its length, or some
sectors of it. Names and lengths of files are taken as ordered and durable, as a journalling file
system keeps them: this is a floor, not a proof.
"""

import re
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

SECTOR = 512
_CALLS = "openat,close,write,pwrite64,fsync,fdatasync,ftruncate,unlink"
_LINE = re.compile(rb"^\d+ +(\w+)\((.*)\) += (-?\d+)")
_BYTES = re.compile(rb'"((?:\\x[0-9a-f]{2})*)"')


@dataclass(frozen=True)
class Call:
    """One call that changes a file, or the line that says a change is kept."""

    kind: str
    name: str
    at: int = 0
    data: bytes = b""


@dataclass
class OnDisk:
    """One file: what is flushed, and the writes after it."""

    flushed: bytearray = field(default_factory=bytearray)
    loose: list[Call] = field(default_factory=list)

    def flush(self) -> None:
        """Make all writes so far durable."""
        for call in self.loose:
            _apply(self.flushed, call, call.data)
        self.loose = []

    def after_a_cut(self, rng: np.random.Generator) -> bytes:
        """Give what may be there after a power cut."""
        left = bytearray(self.flushed)
        for call in self.loose:
            if call.kind == "ftruncate":
                _apply(left, call, b"")
                continue
            match rng.integers(4):
                case 0:
                    _apply(left, call, call.data)
                case 1:
                    _apply(left, call, bytes(len(call.data)))
                case 2:
                    kept = SECTOR * int(rng.integers(0, len(call.data) // SECTOR + 1))
                    _apply(left, call, call.data[:kept])
                case _:
                    pass
        return bytes(left)


def trace(arguments: Sequence[str], folder: Path, log: Path) -> list[Call]:
    """Run a Python program, and give what it did to the files of a folder, in order."""
    command = ["strace", "-f", "-qq", "-xx", "-s", "1000000", "-e", f"trace={_CALLS}"]
    command += ["-e", "signal=none", "-o", str(log), sys.executable, *arguments]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=120)
    inside = str(folder).encode().hex()
    names: dict[int, str] = {}
    calls = []
    for line in log.read_bytes().splitlines():
        found = _LINE.match(line)
        if found is None:
            assert b"unfinished" not in line or b'f"' not in line
            continue
        kind, inner, result = found[1].decode(), found[2], int(found[3])
        texts = [bytes.fromhex(t.replace(b"\\x", b"").decode()) for t in _BYTES.findall(inner)]
        if kind == "openat":
            if texts[0].hex().startswith(inside) and result >= 0:
                names[result] = Path(texts[0].decode()).name
        elif kind == "unlink":
            if texts[0].hex().startswith(inside):
                calls.append(Call(kind, Path(texts[0].decode()).name))
        else:
            number = int(inner.split(b",")[0])
            if kind == "close":
                names.pop(number, None)
            elif number == 1 and kind == "write":
                calls.append(Call("kept", ""))
            elif number in names:
                at = int(inner.rsplit(b",", 1)[1]) if kind in {"pwrite64", "ftruncate"} else 0
                data = texts[0] if texts else b""
                calls.append(Call(kind, names[number], at, data))
    return calls


def cuts(
    before: dict[str, bytes], calls: Sequence[Call], states: int, rng: np.random.Generator
) -> Iterator[tuple[int, dict[str, bytes]]]:
    """Give, for cuts spread over all calls, how much was said to be kept and what is there."""
    chosen = np.sort(rng.integers(0, len(calls) + 1, states)).tolist()
    disk = {name: OnDisk(bytearray(data)) for name, data in before.items()}
    kept, done = 0, 0
    for cut in chosen:
        for call in calls[done:cut]:
            kept += call.kind == "kept"
            _do(disk, call)
        done = cut
        yield kept, {name: file.after_a_cut(rng) for name, file in disk.items()}


def _do(disk: dict[str, OnDisk], call: Call) -> None:
    if call.kind == "kept":
        return
    file = disk.setdefault(call.name, OnDisk())
    if call.kind in {"fsync", "fdatasync"}:
        file.flush()
    elif call.kind == "unlink":
        del disk[call.name]
    else:
        file.loose.append(call)


def _apply(content: bytearray, call: Call, data: bytes) -> None:
    if call.kind == "ftruncate":
        del content[call.at :]
        content.extend(bytes(call.at - len(content)))
        return
    assert call.kind == "pwrite64", f"{call.kind} of {call.name} does not say where"
    end = call.at + len(data)
    content.extend(bytes(max(0, end - len(content))))
    content[call.at : end] = data
