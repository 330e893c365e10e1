"""power_cut.py BIN GUEST POINTS SECONDS - cuts the power of a computer that records, at many moments, and
looks at what its disk holds.

A guest (scripts/guest-make) records short runs onto ext4. QEMU's blklogwrites driver keeps every write and
every flush of its disk in order. For each point the disk is made again as a power cut may leave it: all
that was written before the last flush is there; of what was written later, each sector is there or not, by
chance. Then the file system is repaired as at any boot (e2fsck replays its journal), and what the guest
had been told to be durable (shim_storage.so notes each fdatasync that returned) must be there:

  * of a run whose file is finished: the run file opens, and holds as many sentences or more, none missing;
  * of any other: its journal, from the beginning to where it was durable, without a damaged block; and a run
    file is made of it, whatever comes behind.

The same with a guest in which making durable does nothing is the negative control: there, some must be lost.

Layout of the log: Linux kernel documentation, "dm-log-writes".
"""
import os
import random
import re
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time

SECTOR = 512
FLUSH, FUA, DISCARD = 1, 2, 4
DISK_MIB = 48
RATE = 200  # sentences a second, see power-inside
here = os.path.realpath(os.path.join(os.path.dirname(__file__), "..", ".."))


def tool(name):
    path = shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin:/sbin")
    if not path:
        print("skipped: %s is not installed" % name)
        sys.exit(77)
    return path


# --- the guest


class Guest:
    """Runs until the power is cut; notes what was acknowledged when the log had which length."""

    def __init__(self, binaries, guest, mode, folder):
        self.share = os.path.join(folder, "share")
        self.disk = os.path.join(folder, "disk.img")
        self.log = os.path.join(folder, "log.img")
        os.mkdir(self.share)
        with open(self.disk, "wb") as file:
            file.truncate(DISK_MIB << 20)
        # the file system a small computer would have; nothing is left to be initialised later
        subprocess.run([tool("mkfs.ext4"), "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0",
                        self.disk], check=True)
        self.first = os.path.join(folder, "first.img")
        shutil.copy(self.disk, self.first)
        open(self.log, "wb").close()
        words = ("console=ttyS0 quiet panic=-1 mitigations=off nokaslr tsc=reliable audit=0 apparmor=0 "
                 "repo=%s script=tests/guest/power-inside modules=virtio_blk,crc32c_generic,ext4 "
                 "args=%s,%s" % (here, binaries, mode))
        arguments = [
            tool("qemu-system-x86_64"), "-M", "q35", "-accel", "tcg,thread=single", "-cpu", "max",
            "-m", "512", "-smp", "1", "-nographic", "-no-reboot", "-nodefaults", "-serial", "stdio",
            "-kernel", os.path.join(guest, "vmlinux"), "-initrd", os.path.join(guest, "initrd"),
            "-append", words,
            "-virtfs", "local,path=/,mount_tag=host,readonly=on,security_model=none,multidevs=remap",
            "-virtfs", "local,path=%s,mount_tag=share,security_model=none" % self.share,
            "-blockdev", "driver=file,node-name=disk0,filename=%s" % self.disk,
            "-blockdev", "driver=file,node-name=log0,filename=%s" % self.log,
            "-blockdev", "driver=blklogwrites,node-name=logged,file=disk0,log=log0,log-sector-size=512",
            "-device", "virtio-blk-pci,drive=logged"]
        self.words = os.path.join(folder, "guest.txt")
        self.process = subprocess.Popen(arguments, stdin=subprocess.DEVNULL,
                                        stdout=open(self.words, "wb"), stderr=subprocess.STDOUT)
        self.notes = []  # (length of the log, lines of acks, number sent)

    def text(self, name):
        try:
            with open(os.path.join(self.share, name)) as file:
                return file.read()
        except FileNotFoundError:
            return ""

    def follow(self, seconds):
        """Notes for so long after the first acknowledgement, then cuts the power."""
        begun, seen = None, -1
        while self.process.poll() is None and (begun is None or time.monotonic() < begun + seconds):
            acks = self.text("acks")
            sent = self.text("sent")
            length = os.path.getsize(self.log)  # after the acks were read: whatever was flushed is in it
            lines = acks.count("\n")
            if lines != seen or not self.notes or length != self.notes[-1][0]:
                self.notes.append((length, lines, int(sent or "0")))
                seen = lines
            if begun is None and lines > 0:
                begun = time.monotonic()
            if begun is None and time.monotonic() > self.started() + 300:
                break
            time.sleep(0.01)
        dead = self.process.poll()
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        if dead is not None or begun is None:
            with open(self.words, errors="replace") as file:
                sys.exit("the guest did not record; it said:\n" + file.read() + self.text("words"))
        self.acks = []
        for line in self.text("acks").splitlines():
            name, size, sentences = line.split()
            self.acks.append((name[:-len(".journal")], int(size), int(sentences)))

    def started(self):
        if not hasattr(self, "begin"):
            self.begin = time.monotonic()
        return self.begin

    def known_at(self, end):
        """What was acknowledged, and the number last sent, when the log was not longer than `end`."""
        lines = sent = 0
        for length, acks, number in self.notes:
            if length > end:
                break
            lines, sent = acks, number
        durable = {}
        for run, size, sentences in self.acks[:lines]:
            durable[run] = (size, sentences)
        return durable, sent


def read_log(path):
    """Entries of the log: (end in the log, flags, first sector, offset of the data, bytes)."""
    entries = []
    length = os.path.getsize(path)
    with open(path, "rb") as file:
        magic, _, _, sector = struct.unpack("<QQQI", file.read(28))
        if magic != 0x6A736677736872 or sector != SECTOR:
            sys.exit("the log of the disk is of another layout")
        at = SECTOR
        while at + SECTOR <= length:
            file.seek(at)
            first, count, flags, _ = struct.unpack("<QQQQ", file.read(32))
            size = 0 if flags & DISCARD else count * SECTOR
            at += SECTOR
            if at + size > length or (count == 0 and flags == 0):
                break
            entries.append((at + size, flags, first, at, size))
            at += size
    return entries


# --- the disk after a power cut


class Disk:
    """The disk at a growing number of entries of the log."""

    def __init__(self, first, log, entries):
        self.log = open(log, "rb")
        self.entries = entries
        with open(first, "rb") as file:
            self.sure = bytearray(file.read())
        self.done = 0  # entries that are sure

    def data(self, entry):
        self.log.seek(entry[3])
        return self.log.read(entry[4])

    def write(self, image, entry):
        if entry[4]:
            image[entry[2] * SECTOR:entry[2] * SECTOR + entry[4]] = self.data(entry)

    def cut_at(self, index, chance):
        """What is there if the power goes just before entry `index` of the log."""
        last = max([i for i in range(self.done, index) if self.entries[i][1] & FLUSH] or [self.done - 1])
        while self.done <= last:
            self.write(self.sure, self.entries[self.done])
            self.done += 1
        image = bytearray(self.sure)
        for entry in self.entries[self.done:index]:
            if entry[1] & FUA:
                self.write(image, entry)
                continue
            data = self.data(entry)
            for i in range(entry[4] // SECTOR):
                if chance.random() < 0.5:
                    to = entry[2] * SECTOR + i * SECTOR
                    image[to:to + SECTOR] = data[i * SECTOR:(i + 1) * SECTOR]
        return image


def recover(image, folder):
    """Boots, so to speak: repairs the file system and takes all files off it."""
    path, out = os.path.join(folder, "point.img"), os.path.join(folder, "out")
    with open(path, "wb") as file:
        file.write(image)
    repaired = subprocess.run([tool("e2fsck"), "-fy", path], capture_output=True)
    if repaired.returncode > 2:
        sys.exit("e2fsck: " + repaired.stdout.decode(errors="replace"))
    shutil.rmtree(out, ignore_errors=True)
    os.mkdir(out)
    subprocess.run([tool("debugfs"), "-R", "rdump / %s" % out, path], capture_output=True, check=True)
    return out


# --- judging


class Judge:
    def __init__(self, binaries, folder):
        self.logger = os.path.join(here, binaries, "searun-logger")
        self.analyze = os.path.join(here, binaries, "searun-analyze")
        self.folder = folder
        self.checked = {}  # run files that were seen before: the same bytes say the same

    def run(self, *arguments):
        done = subprocess.run(arguments, capture_output=True, text=True, errors="replace")
        return done.returncode, done.stdout + done.stderr

    def sentences(self, run_file):
        """The numbers of the sentences a run file holds; None if it is not sound or one is missing."""
        with open(run_file, "rb") as file:
            key = hash(file.read())
        if key not in self.checked:
            self.checked[key] = self.sentences_in(run_file)
        return self.checked[key]

    def sentences_in(self, run_file):
        code, _ = self.run(self.analyze, "check", run_file)
        if code != 0:
            return None
        code, text = self.run(self.analyze, "export", run_file, "--raw")
        numbers = [int(number) for number in re.findall(r"\$PSRN,(\d+)\*", text)]
        first = numbers[0] if numbers else 0
        whole = range(first, first + len(numbers))
        return whole if code == 0 and numbers == list(whole) else None

    def rebuild(self, journal, size):
        """Sentences of the run made of the first `size` bytes of a journal; None if a block is damaged."""
        part, made = os.path.join(self.folder, "part.journal"), os.path.join(self.folder, "made.h5")
        with open(journal, "rb") as file, open(part, "wb") as to:
            to.write(file.read(size))
        if os.path.exists(made):
            os.unlink(made)
        code, words = self.run(self.logger, "--rebuild", part, "--output", made)
        if code != 0 or not re.search("nothing missing|up to the last block", words):
            return None
        return self.sentences(made)

    def made_of_whole(self, journal):
        """Sentences of the run made of all there is of a journal."""
        whole = os.path.join(self.folder, "whole.h5")
        if os.path.exists(whole):
            os.unlink(whole)
        code, _ = self.run(self.logger, "--rebuild", journal, "--output", whole)
        return self.sentences(whole) if code == 0 else None

    def look_at(self, out, run, size, sentences):
        """Words on what is wrong with one run, or None; and its sentences if it is unfinished."""
        finished = os.path.join(out, run + ".h5")
        journals = [path for path in (os.path.join(out, run + ending)
                                      for ending in (".journal", ".journal.kept"))
                    if os.path.exists(path)]
        if os.path.exists(finished):
            there = self.sentences(finished)
            short = there is None or len(there) < sentences
            return "%s.h5 does not hold %d sentences" % (run, sentences) if short else None, None
        if not journals:
            return "%s: neither a run file nor a journal" % run, None
        sure = self.rebuild(journals[0], size) if os.path.getsize(journals[0]) >= size else None
        if sure is None or len(sure) < sentences:
            return "%s: of %d bytes that were durable, not all are there" % (run, size), None
        whole = self.made_of_whole(journals[0])
        return (None, whole) if whole is not None else ("%s: no run file can be made" % run, None)


def cut_points(guest, entries, points, chance):
    first = next(length for length, acks, _ in guest.notes if acks > 0)
    candidates = [i for i, entry in enumerate(entries) if entry[0] > first]
    return sorted(chance.choice(candidates) for _ in range(points))


def cut(binaries, guest_folder, mode, points, seconds, seed):
    """Returns how many points lost something, and says so."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="power-cut-") as folder:
        guest = Guest(binaries, guest_folder, mode, folder)
        guest.started()
        guest.follow(seconds)
        entries = read_log(guest.log)
        flushes = sum(1 for entry in entries if entry[1] & FLUSH)
        runs = len({run for run, _, _ in guest.acks})
        print("%s: %d runs, %d acknowledgements, %d writes and %d flushes of the disk; seed %d" %
              (mode, runs, len(guest.acks), len(entries) - flushes, flushes, seed), flush=True)
        disk, judge, lost = Disk(guest.first, guest.log, entries), Judge(binaries, folder), 0
        missing = []
        for index in cut_points(guest, entries, points, chance):
            durable, sent = guest.known_at(entries[index - 1][0])
            out = recover(disk.cut_at(index, chance), folder)
            wrong = []
            for run, (size, sentences) in list(durable.items())[-3:]:  # older ones do not change any more
                words, unfinished = judge.look_at(out, run, size, sentences)
                wrong += [words] if words else []
            if unfinished:
                missing.append(max(0, sent - unfinished.stop) / RATE)
            lost += bool(wrong)
            if wrong and mode == "honest":
                print("cut before entry %d: %s" % (index, "; ".join(wrong)), flush=True)
        if missing:
            missing.sort()
            print("%s: of what was sent, the last %.2f s were missing (median), %.2f s at most, in %d unfinished "
                  "runs" % (mode, missing[len(missing) // 2], missing[-1], len(missing)))
        print("%s: %d of %d points lost something that was durable" % (mode, lost, points), flush=True)
        return lost


def main():
    binaries, guest = sys.argv[1], sys.argv[2]
    points, seconds = int(sys.argv[3]), float(sys.argv[4])
    seed = int(os.environ.get("SEARUN_SEED", time.time()))
    honest = cut(binaries, guest, "honest", points, seconds, seed)
    lying = cut(binaries, guest, "lie", max(20, points // 10), min(seconds, 20), seed)
    if lying == 0:
        print("the control lost nothing: this test would not notice a loss")
    sys.exit(0 if honest == 0 and lying > 0 else 1)


if __name__ == "__main__":
    main()
