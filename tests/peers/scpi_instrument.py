"""An instrument simulated by PyVISA-sim on a pseudo-terminal; prints the line's name.

What it answers is `scpi_instrument.yaml`; this file only carries bytes between the line and the simulator.
"""

import os
from pathlib import Path

import pyvisa
from lines import announce, raw_line

BACKEND = f"{Path(__file__).with_name('scpi_instrument.yaml')}@sim"
manager = pyvisa.ResourceManager(BACKEND)
instrument = manager.open_resource("ASRL1::INSTR", timeout=10)
instrument.write_termination = instrument.read_termination = ""


def answers():
    """Whatever the simulator has to say."""
    while True:
        try:
            yield instrument.read_bytes(1)
        except pyvisa.errors.VisaIOError:
            return


far, near, name = raw_line()
announce(name)
kept = b""
while True:
    kept += os.read(far, 256)
    while b"\n" in kept:
        line, kept = kept.split(b"\n", 1)
        instrument.write_raw(line + b"\n")
        said = b"".join(answers())
        if said:
            os.write(far, said)
