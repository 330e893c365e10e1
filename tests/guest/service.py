"""service.py BIN GUEST ROOT - the logger as a service under a real systemd, from boot to shutdown.

Puts what `make install` installs, a configuration and tests/guest/service-inside into ROOT (a bare Debian), makes
an ext4 image of it, boots it in QEMU (kernel and first steps from GUEST, see scripts/guest-make), and plays an
engine on its second serial line all the while, and on a USB adapter that is plugged in and pulled out when the guest
prints "PLUG in" or "PLUG out". The guest prints a line "RESULT what rc=N" for each thing it looked
at, and shuts down while a run is recorded. Then the disk is looked at: every run must be closed and whole.
"""
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time

here = os.path.realpath(os.path.join(os.path.dirname(__file__), "..", ".."))
LONGEST_S = 1200
SHELL_UNIT = """[Unit]
Description=Looks at the recorder
After=multi-user.target
[Service]
Type=oneshot
ExecStart=/opt/service-inside
StandardOutput=file:/dev/ttyS0
StandardError=file:/dev/ttyS0
[Install]
WantedBy=multi-user.target
"""
# Shorter than in the unit, so that the test does not take half an hour; what they do is the same.
QUICK = """[Service]
WatchdogSec=30
RestartSec=2
TimeoutAbortSec=60
"""
SETTINGS = """[boat]
name = Tern's Reach
[engine 0]
label = main
[logger]
directory = /var/lib/searun
reserve = 1
keep_journal = no
before_start = 10
end_after = 600
[inputs]
engine = serial:/dev/ttyS1,4800
plotter = udp:10110
bus = can:vcan0
adapter = serial:/dev/nmea-engine,4800
"""
ADAPTER = "A10X0001"  # its number in searun-adapters.rules, which is used as it is


def tool(name):
    path = shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin:/sbin")
    if not path:
        print("skipped: %s is not installed" % name)
        sys.exit(77)
    return path


def write(root, path, text, mode=0o644):
    full = os.path.join(root, path.lstrip("/"))
    os.makedirs(os.path.dirname(full), exist_ok=True)
    with open(full, "w") as file:
        file.write(text)
    os.chmod(full, mode)


def link(root, path, to):
    full = os.path.join(root, path.lstrip("/"))
    os.makedirs(os.path.dirname(full), exist_ok=True)
    if os.path.lexists(full):
        os.unlink(full)
    os.symlink(to, full)


def furnish(root, binaries):
    """Installs as README.md tells it, but for what needs a running system."""
    subprocess.run(["make", "-s", "-C", here, "install", "B=" + binaries, "DESTDIR=" + os.path.realpath(root)],
                   check=True, stdout=subprocess.DEVNULL)
    write(root, "/etc/searun.ini", SETTINGS)
    write(root, "/etc/hostname", "boat\n")
    write(root, "/etc/fstab", "/dev/vda / ext4 rw 0 1\n")
    write(root, "/etc/machine-id", "")
    write(root, "/etc/systemd/system/searun-logger.service.d/quick.conf", QUICK)
    write(root, "/etc/systemd/system/look.service", SHELL_UNIT)
    wants = "/etc/systemd/system/multi-user.target.wants/"
    link(root, wants + "look.service", "/etc/systemd/system/look.service")
    link(root, wants + "searun-logger.service", "/usr/local/lib/systemd/system/searun-logger.service")
    for unit in ("serial-getty@ttyS0.service", "getty@tty1.service", "systemd-firstboot.service",
                 "apt-daily.timer", "apt-daily-upgrade.timer", "e2scrub_reap.service", "fstrim.timer"):
        link(root, "/etc/systemd/system/" + unit, "/dev/null")
    shutil.copy(os.path.join(here, "logger/searun-adapters.rules"),
                os.path.join(root, "etc/udev/rules.d/70-searun.rules"))
    for name in ("service-inside", "service-probe"):
        with open(os.path.join(here, "tests/guest", name)) as file:
            write(root, "/opt/" + name, file.read(), 0o755)
    shutil.rmtree(os.path.join(root, "var/lib/searun"), ignore_errors=True)
    shutil.rmtree(os.path.join(root, "var/log/journal"), ignore_errors=True)
    subprocess.run([tool("chroot"), root, "systemd-sysusers"], check=True, stderr=subprocess.DEVNULL)
    for user, group in (("mate", "searun"), ("guest", "nogroup")):
        if subprocess.run([tool("chroot"), root, "id", user], capture_output=True).returncode != 0:
            subprocess.run([tool("chroot"), root, "useradd", "-G", group, user], check=True)


def sentence(body):
    checksum = 0
    for byte in body.encode():
        checksum ^= byte
    return ("$%s*%02X\r\n" % (body, checksum)).encode()


def play_engine(path, over, sentences):
    """Says the sentences once a second."""
    line = socket.socket(socket.AF_UNIX)
    while not over.is_set():
        try:
            line.connect(path)
            break
        except OSError:
            time.sleep(0.1)
    line.settimeout(1)
    while not over.is_set():
        try:
            line.sendall(b"".join(sentence(body) for body in sentences))
        except socket.timeout:
            pass  # nobody listens, and the line is full
        except OSError:
            return
        time.sleep(1)


def plug_adapter(path, words, over):
    """Does to the adapter what the guest's words ask for."""
    done = 0
    while not over.is_set():
        time.sleep(0.3)
        try:
            with open(words, errors="replace") as file:
                orders = re.findall(r"^PLUG (in|out)", file.read(), re.M)
        except FileNotFoundError:
            continue
        for order in orders[done:]:
            ask = {"execute": "device_del", "arguments": {"id": "adapter"}}
            if order == "in":
                ask = {"execute": "device_add", "arguments": {"driver": "usb-serial", "chardev": "usb",
                                                              "id": "adapter", "serial": ADAPTER}}
            with socket.socket(socket.AF_UNIX) as monitor:
                monitor.connect(path)
                for line in ({"execute": "qmp_capabilities"}, ask):
                    monitor.recv(4096)
                    monitor.sendall(json.dumps(line).encode() + b"\n")
                said = monitor.recv(4096)
                if b"error" in said:
                    print("the emulator says: %s" % said.decode())
        done = len(orders)


def boot(guest, disk, folder, words):
    append = ("console=ttyS0 quiet panic=-1 mitigations=off nokaslr tsc=reliable audit=0 apparmor=0 "
              "boot=/lib/systemd/systemd modules=virtio_blk,crc32c_generic,ext4,can-raw,vcan "
              "systemd.show_status=0 systemd.default_timeout_start_sec=600 systemd.mask=systemd-udev-settle.service")
    arguments = [
        tool("qemu-system-x86_64"), "-M", "q35", "-accel", "tcg,thread=single", "-cpu", "max", "-m", "512", "-smp", "1",
        "-nographic", "-no-reboot", "-nodefaults", "-serial", "stdio",
        "-chardev", "socket,id=line,path=%s/line,server=on,wait=off" % folder, "-serial", "chardev:line",
        "-chardev", "socket,id=usb,path=%s/usb,server=on,wait=off" % folder, "-device", "qemu-xhci",
        "-qmp", "unix:%s/monitor,server=on,wait=off" % folder,
        "-kernel", os.path.join(guest, "vmlinux"), "-initrd", os.path.join(guest, "initrd"), "-append", append,
        "-drive", "file=%s,format=raw,if=none,id=d0,cache=unsafe" % disk, "-device", "virtio-blk-pci,drive=d0"]
    process = subprocess.Popen(arguments, stdin=subprocess.DEVNULL, stdout=open(words, "wb"), stderr=subprocess.STDOUT)
    try:
        code = process.wait(LONGEST_S)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        process.wait()
        code = "no end after %d s" % LONGEST_S
    return code


def judge_disk(binaries, disk, folder):
    """After shutdown: no run is left open, every run file is whole and was closed properly."""
    repaired = subprocess.run([tool("e2fsck"), "-fn", disk], capture_output=True, text=True)
    wrong = [] if repaired.returncode == 0 else ["the file system was not closed: " + repaired.stdout]
    out = os.path.join(folder, "runs")
    os.mkdir(out)
    subprocess.run([tool("debugfs"), "-R", "rdump /var/lib/searun %s" % out, disk], capture_output=True, check=True)
    names = sorted(name for _, _, files in os.walk(out) for name in files)
    runs = [name for name in names if name.endswith(".h5")]
    print("figure runs on the disk: " + ", ".join(names))
    if len(runs) < 4:
        wrong.append("only %d run files" % len(runs))
    if any(name.endswith((".part", ".journal")) for name in names):
        wrong.append("a run was left open")
    for path, _, files in os.walk(out):
        for name in files:
            if not name.endswith(".h5"):
                continue
            done = subprocess.run([os.path.join(here, binaries, "searun-analyze"), "check", os.path.join(path, name)],
                                  capture_output=True, text=True)
            if done.returncode != 0:
                wrong.append("%s: %s" % (name, done.stdout + done.stderr))
    return wrong


def main():
    binaries, guest, root = sys.argv[1:4]
    with tempfile.TemporaryDirectory(prefix="service-") as folder:
        disk = os.path.join(folder, "disk.img")
        words = os.path.join(folder, "words.txt")
        furnish(root, binaries)
        with open(disk, "wb") as file:
            file.truncate(900 << 20)
        subprocess.run([tool("mkfs.ext4"), "-q", "-F", "-d", root, disk], check=True)
        over = threading.Event()
        engine = ("IIRPM,E,0,1500.0,,A", "IIXDR,C,75.0,C,ENGINE#0")
        for work, arguments in ((play_engine, (folder + "/line", over, engine)),
                                (play_engine, (folder + "/usb", over, ("IIMTW,14.7,C",))),
                                (plug_adapter, (folder + "/monitor", words, over))):
            threading.Thread(target=work, args=arguments, daemon=True).start()
        code = boot(guest, disk, folder, words)
        over.set()
        with open(words, errors="replace") as file:
            text = file.read().replace("\r", "")
        results = re.findall(r"^RESULT (\S+) rc=(\d+)", text, re.M)
        wrong = ["the guest ended with %s" % code] if code != 0 else []
        wrong += [name for name, result in results if result != "0"]
        if ("last", "0") not in results:
            wrong.append("the guest did not get to its end")
        for line in re.findall(r"^figure .*$", text, re.M):
            print(line)
        wrong += judge_disk(binaries, disk, folder)
    if wrong:
        print("the guest said:\n%s\n" % text + "\n".join("WRONG: " + words for words in wrong))
    else:
        print("service: all %d things as they should be, every run whole after shutdown" % len(results))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
