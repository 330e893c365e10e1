# hostile.py SAMPLE FOLDER - run files that were made to do harm, from a sound one.
import sys, shutil, os
try:
    import h5py, numpy as np
except ImportError:
    sys.exit(77)
sample, folder = sys.argv[1], sys.argv[2]

def change(name, what, **how):
    path = os.path.join(folder, name + ".h5")
    shutil.copyfile(sample, path)
    with h5py.File(path, "r+", **how) as f:
        what(f)

def first_group(f):
    found = []
    f["measurements"].visititems(lambda n, o: found.append(o) if "time" in (o if isinstance(o, h5py.Group) else ()) else None)
    return found[0]

def replace_time(f, **how):
    g = first_group(f)
    old = dict(g["time"].attrs)
    del g["time"]
    d = g.create_dataset("time", **how)
    for k, v in old.items():
        if k in ("units", "calendar", "standard_name"):
            d.attrs[k] = v

def long_zeros(f, rows=1 << 28):          # 12 MB that inflate to 4 GB
    g = first_group(f)
    for name in list(g):
        d = g[name]
        t = f.create_dataset("t", shape=d.chunks, dtype=d.dtype, chunks=d.chunks, maxshape=(None,), compression="gzip",
                             compression_opts=4, shuffle=True, fletcher32=True)
        t[:] = np.zeros(d.chunks, d.dtype)
        f.flush()
        mask, raw = t.id.read_direct_chunk((0,))
        d.resize((rows,))
        for k in range(rows // d.chunks[0]):
            d.id.write_direct_chunk((k * d.chunks[0],), raw, mask)
        del f["t"]

def one_chunk(f):                         # 64 MB in one chunk that is said to be 8 TB long
    replace_time(f, shape=(1 << 40,), dtype="i8", chunks=(1 << 23,), compression="gzip", fletcher32=True)
    first_group(f)["time"][0:1 << 23] = np.zeros(1 << 23, "i8")

def big_text(f):
    del f.attrs["software"]
    f.attrs["software"] = "x" * 64_000_000

def big_attribute(f):
    del f.attrs["software"]
    f.attrs.create("software", np.zeros(64_000_000, "u1"))

def loop(f):
    f["measurements"]["loop"] = f["measurements"]

def soft_loop(f):
    f["measurements/around"] = h5py.SoftLink("/measurements/around")

def outside(f):
    f["measurements/outside"] = h5py.ExternalLink("/dev/zero", "/")

def itself(f):
    f["measurements/outside"] = h5py.ExternalLink("itself.h5", "/measurements")

def groups(f):
    g = f["measurements"]["engine_0"]
    for i in range(5000):
        g.create_group("g%d" % i)

def deep(f):
    g = f["measurements"]
    for i in range(2000):
        g = g.create_group("d")

def text_times(f):
    replace_time(f, data=np.array([b"abc"] * 10))

def group_times(f):
    g = first_group(f)
    del g["time"]
    g.create_group("time")

def tiny_chunks(f):
    replace_time(f, shape=(1 << 44,), dtype="i8", chunks=(1,))

def twice(f):                             # one group under two names, and one column
    g = first_group(f)
    f["measurements"]["again"] = g.parent

def column_twice(f):
    g = first_group(f)
    g["oil_pressure" if "oil_pressure" not in g else "oil_temperature"] = g[[n for n in g if n != "time"][0]]

def many_events(f, rows=1 << 20):         # 2 MB that inflate to 500
    g = f["events"]
    for name in list(g):
        d = g[name]
        shape, text = (rows,) + d.shape[1:], d.dtype
        n = g.create_dataset("x", shape=shape, dtype=text, chunks=(1 << 11,) + d.shape[1:], compression="gzip", shuffle=d.shuffle,
                             fletcher32=True)
        n[0:rows] = np.zeros(shape, text)
        del g[name]
        g.move("x", name)

for what in (long_zeros, one_chunk, big_text, loop, soft_loop, outside, itself, groups, deep, text_times, group_times,
             tiny_chunks, twice, column_twice, many_events):
    change(what.__name__, what)
change("big_attribute", big_attribute, libver="latest")
