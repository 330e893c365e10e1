"""adapter.py SECONDS LINK REPORT - plays a CAN adapter on a serial line, in the text
protocol that slcan speaks.

Makes a pseudo-terminal, links it to LINK, waits for /run/go, sends 500 frames a second, and
writes into REPORT how many were sent and what it was told meanwhile: commands, but never a frame.
"""
import os
import select
import sys
import time
import tty

seconds, link, report = float(sys.argv[1]), sys.argv[2], sys.argv[3]
master, slave = os.openpty()
tty.setraw(slave)
os.symlink(os.ttyname(slave), link)
told = b""


def listen(wait):
    global told
    while select.select([master], [], [], wait)[0]:
        told += os.read(master, 4096)
        wait = 0


deadline = time.monotonic() + 30
while not os.path.exists("/run/go") and time.monotonic() < deadline:
    listen(0.05)

sent = 0
start = time.monotonic()
while sent < 500 * seconds:
    due = int((time.monotonic() - start) * 500) + 1
    while sent < min(due, 500 * seconds):
        # 127488 of source 35: engine 0, 700 rpm and a quarter more with each frame
        speed = 2800 + sent % 4000
        os.write(master, b"T09F20023800%02X%02XFFFF7FFFFF\r" % (speed & 0xFF, speed >> 8))
        sent += 1
    listen(0.002)
time.sleep(0.3)
listen(0)
frames = sum(command[:1] in (b"t", b"T", b"r", b"R") for command in told.split(b"\r"))
with open(report, "w") as file:
    file.write("sent %d\nframes_told %d\n" % (sent, frames))
    file.write("commands %s\n" % told.decode("latin-1").replace("\r", " "))
