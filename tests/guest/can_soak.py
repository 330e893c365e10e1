"""can_soak.py INTERFACE PID ROUNDS REPORT - takes a CAN interface down and up again, so many times, while a
stream of numbered frames goes over it and the logger with that PID listens.

Sending goes on until the moment it goes down and begins again the moment it is up: some rounds are shorter than one look
of the logger's. REPORT gets how many rounds there were, what the logger held after a few of them, halfway and at the end,
and how many frames were sent. Numbers count only frames that the system took, so none belongs to the time it was down.
"""
import errno
import fcntl
import os
import random
import socket
import struct
import sys
import time

interface, pid, rounds, report = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
SETTLED = 3  # rounds after which everything has been used once
RATE = 250  # frames a second
SIOCGIFFLAGS, SIOCSIFFLAGS, IFF_UP = 0x8913, 0x8914, 1
bus = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
bus.bind((interface,))
number = refused = 0
lines = []


def say(*words):
    lines.append(" ".join(str(word) for word in words))


def set_up(up):
    request = struct.pack("16sH14x", interface.encode(), 0)
    flags = struct.unpack("16sH14x", fcntl.ioctl(bus, SIOCGIFFLAGS, request))[1]
    flags = flags | IFF_UP if up else flags & ~IFF_UP
    fcntl.ioctl(bus, SIOCSIFFLAGS, struct.pack("16sH14x", interface.encode(), flags))
    bus.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)  # what this did to us is no news


def send():
    """127488 of source 35: engine 0, 700 rpm and a quarter more with each frame; its number in the rest."""
    global number, refused
    speed, high = 2800 + number % 4000, number // 4000
    data = struct.pack("<BHHBH", 0, speed, 0xFFFF, 0x7F, high)
    try:
        bus.send(struct.pack("=IB3x8s", 0x09F20023 | socket.CAN_EFF_FLAG, 8, data))
        number += 1
    except OSError as error:
        if error.errno != errno.ENETDOWN:
            raise
        refused += 1


def send_for(seconds):
    """Sends at the rate for so long."""
    begun, first = time.monotonic(), number
    while time.monotonic() - begun < seconds:
        while number - first < (time.monotonic() - begun) * RATE:
            send()
        time.sleep(0.004)


def note(name):
    with open("/proc/%s/status" % pid) as file:
        resident = next(line.split()[1] for line in file if line.startswith("VmRSS"))
    say("descriptors_" + name, len(os.listdir("/proc/%s/fd" % pid)))
    say("resident_" + name, resident)


for done in range(rounds):
    send_for(random.uniform(0.2, 0.4))
    set_up(False)
    send()
    time.sleep(random.choice((0, 0.01, random.uniform(0.05, 0.3))))
    set_up(True)
    send()
    if done + 1 == SETTLED:
        note("before")
    if done + 1 == (rounds + 1) // 2:
        note("halfway")
send_for(0.5)
note("after")
say("rounds", rounds)
say("sent", number)
say("refused", refused)
with open(report, "w") as file:
    file.write("\n".join(lines) + "\n")
