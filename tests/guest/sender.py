"""sender.py PORT RATE PROGRESS - sends numbered sentences by UDP to this machine, so many a second, for ever;
keeps the number of the last one in the file PROGRESS.
"""
import os
import socket
import sys
import time

port, rate, progress = int(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
file = os.open(progress, os.O_WRONLY | os.O_CREAT, 0o644)
begun = time.monotonic()
number = 0
while True:
    while number < (time.monotonic() - begun) * rate:
        body = "PSRN,%d" % number
        checksum = 0
        for byte in body.encode():
            checksum ^= byte
        try:
            sender.sendto(("$%s*%02X\r\n" % (body, checksum)).encode(), ("127.0.0.1", port))
        except OSError:
            pass  # nobody listens between two runs
        number += 1
    os.pwrite(file, b"%010d\n" % number, 0)
    time.sleep(0.02)
