"""adapter.py SECONDS LINK REPORT - plays a CAN adapter on a serial line, in the text
protocol that slcan speaks.

Makes a pseudo-terminal, links it to LINK, waits for /run/go, sends 500 frames a second, writes into
/run/adapter-sent how many, and keeps the line until /run/done, for what is under way is lost when it hangs up. Then
it writes into REPORT how many were sent and what it was told meanwhile: commands, but never a frame.
If the other end takes nothing for half a minute, it gives up and says so.
"""
import os
import select
import sys
import time
import tty

seconds, link, report = float(sys.argv[1]), sys.argv[2], sys.argv[3]
master, slave = os.openpty()
tty.setraw(slave)
os.set_blocking(master, False)
os.symlink(os.ttyname(slave), link)
told = b""
PATIENCE = 30
BURST = 50  # frames at a time at most, if we come late: what a real adapter can hold back, too


def listen(wait):
    global told
    while select.select([master], [], [], wait)[0]:
        told += os.read(master, 4096)
        wait = 0


def put(frame):
    while frame:
        if not select.select([], [master], [], PATIENCE)[1]:
            sys.exit("the serial line takes nothing any more; is slcan at its other end?")
        frame = frame[os.write(master, frame):]


def wait_for(order):
    deadline = time.monotonic() + 180
    while not os.path.exists(order):
        if time.monotonic() > deadline:
            sys.exit("nobody made %s" % order)
        listen(0.05)


wait_for("/run/go")
sent = 0
start = time.monotonic()
while sent < 500 * seconds:
    due = int((time.monotonic() - start) * 500) + 1
    for _ in range(int(min(due - sent, 500 * seconds - sent, BURST))):
        # 127488 of source 35: engine 0, 700 rpm and a quarter more with each frame
        speed = 2800 + sent % 4000
        put(b"T09F20023800%02X%02XFFFF7FFFFF\r" % (speed & 0xFF, speed >> 8))
        sent += 1
    listen(0.002)
with open("/run/adapter-sent.new", "w") as file:
    file.write("%d" % sent)
os.rename("/run/adapter-sent.new", "/run/adapter-sent")
wait_for("/run/done")
frames = sum(command[:1] in (b"t", b"T", b"r", b"R") for command in told.split(b"\r"))
with open(report, "w") as file:
    file.write("sent %d\nframes_told %d\n" % (sent, frames))
    file.write("commands %s\n" % told.decode("latin-1").replace("\r", " "))
