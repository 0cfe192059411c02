#!/usr/bin/python3
"""Writes frame files with numpy, tifffile, tiffcp, Pillow and astropy, and reads ours with them.

outside.py write DIR   writes files and manifest.json: for each file its shape, and the values as raw f8
outside.py check DIR   reads the files of DIR/manifest.json and compares them with their raw f8
outside.py time FILE   prints the seconds numpy takes for the mean image of an .npy and to read a .csv
"""
import json, os, subprocess, sys, time
import numpy as np


def save_values(folder, manifest, name, values, **more):
    values = np.ascontiguousarray(values, dtype='<f8')
    values.tofile(os.path.join(folder, name + '.f64'))
    manifest.append(dict(file=name, shape=list(values.shape), **more))


def arrays(rng, dtype):
    dt = np.dtype(dtype)
    for shape in ((7, 11), (5, 7, 11)):
        if dt.kind == 'f':
            a = rng.normal(25, 10, shape).astype(dt)
            a.flat[3] = np.nan
        else:
            info = np.iinfo(dt)
            low, high = max(info.min, -2**52), min(info.max, 2**52)
            a = rng.integers(low, high, shape, endpoint=True).astype(dt)
            a.flat[0], a.flat[1] = low, high
        yield a


def write_npy(folder, manifest, rng):
    for kind in ('u1', 'i1', 'u2', 'i2', 'u4', 'i4', 'i8', 'f4', 'f8'):
        for order in '<>':
            for a in arrays(rng, order + kind):
                for version in ((1, 0), (2, 0), (3, 0)):
                    name = f"{kind}{'le' if order == '<' else 'be'}_{a.ndim}d_v{version[0]}.npy"
                    with open(os.path.join(folder, name), 'wb') as f:
                        np.lib.format.write_array(f, a, version=version)
                    save_values(folder, manifest, name, a)
    a = next(arrays(rng, '<f8'))
    np.save(os.path.join(folder, 'fortran.npy'), np.asfortranarray(a))
    save_values(folder, manifest, 'fortran.npy', a)


def write_tiff(folder, manifest, rng):
    import tifffile
    for kind in ('u1', 'u2', 'i2', 'u4', 'i4', 'f4', 'f8'):
        for order in '<>':
            for a in arrays(rng, order + kind):
                for label, more in (('plain', {}), ('zlib', dict(compression='zlib')), ('big', dict(bigtiff=True)),
                                    ('strips', dict(rowsperstrip=3)), ('tiles', dict(tile=(16, 16), compression='zlib')),
                                    ('zlib2', dict(compression='zlib', predictor=2))):
                    if label == 'zlib2' and kind[0] == 'f':
                        continue
                    name = f"{kind}{'le' if order == '<' else 'be'}_{a.ndim}d_{label}.tif"
                    try:
                        tifffile.imwrite(os.path.join(folder, name), a, byteorder=order, photometric='minisblack', metadata=None, **more)
                    except Exception as e:
                        print('not written by tifffile:', name, e, file=sys.stderr)
                        continue
                    save_values(folder, manifest, name, a)
    for kind in ('u2', 'i2', 'f4'):
        for a in arrays(rng, '<' + kind):
            source = os.path.join(folder, f'source_{kind}_{a.ndim}d.tif')
            tifffile.imwrite(source, a, photometric='minisblack', metadata=None)
            predictors = ('1', '2', '3') if kind == 'f4' else ('1', '2')
            for codec in ('lzw', 'zip'):
                for p in predictors:
                    for flag in ('-L', '-B'):
                        # tiffcp (libtiff 4.5.0) turns the samples around before the
                        # floating-point predictor and then does not read its own file.
                        if p == '3' and flag == '-B':
                            continue
                        for layout in (('-s', '-r', '2'), ('-t', '-w', '16', '-l', '16'), ('-s', '-8')):
                            name = f"tiffcp_{kind}_{a.ndim}d_{codec}{p}{flag}{''.join(layout)}.tif"
                            subprocess.run(['tiffcp', flag, '-c', f'{codec}:{p}', *layout, source, os.path.join(folder, name)], check=True)
                            save_values(folder, manifest, name, a)
            os.remove(source)


def write_fits(folder, manifest, rng):
    from astropy.io import fits
    for kind in ('u1', 'i2', 'i4', 'i8', 'f4', 'f8', 'u2', 'u4'):
        for a in arrays(rng, '=' + kind):
            name = f'{kind}_{a.ndim}d.fits'
            fits.PrimaryHDU(a).writeto(os.path.join(folder, name))
            save_values(folder, manifest, name, a)
            name = f'{kind}_{a.ndim}d_extension.fits'
            table = fits.BinTableHDU.from_columns([fits.Column(name='t', format='D', array=np.arange(5.0))])
            fits.HDUList([fits.PrimaryHDU(), table, fits.ImageHDU(a)]).writeto(os.path.join(folder, name))
            save_values(folder, manifest, name, a)
    stored = rng.integers(-3000, 3000, (7, 11)).astype('>i2')
    stored.flat[5] = -9
    hdu = fits.PrimaryHDU(stored)
    hdu.header['BSCALE'], hdu.header['BZERO'], hdu.header['BLANK'] = 0.25, 300.5, -9
    hdu.header['BUNIT'] = 'K'
    values = 300.5 + 0.25 * stored.astype('f8')
    values.flat[5] = np.nan
    name = 'scaled.fits'
    with open(os.path.join(folder, name), 'wb') as f:
        f.write(hdu.header.tostring().encode())
        data = stored.tobytes()
        f.write(data + bytes(-len(data) % 2880))
    np.testing.assert_array_equal(fits.getdata(os.path.join(folder, name)), values)
    save_values(folder, manifest, name, values)


def write_others(folder, manifest, rng):
    from PIL import Image
    a = rng.integers(0, 65536, (7, 11)).astype('<u2')
    Image.fromarray(a).save(os.path.join(folder, 'pillow16.png'))
    save_values(folder, manifest, 'pillow16.png', a)
    b = (a >> 8).astype('u1')
    Image.fromarray(b).save(os.path.join(folder, 'pillow8.png'))
    save_values(folder, manifest, 'pillow8.png', b)
    for kind in ('u2', 'f4'):
        for order in '<>':
            for a in arrays(rng, order + kind):
                name = f"raw_{kind}{'le' if order == '<' else 'be'}_{a.ndim}d.bin"
                a.tofile(os.path.join(folder, name))
                raw = {'u2': 'u16', 'f4': 'f32'}[kind] + ('le' if order == '<' else 'be')
                save_values(folder, manifest, name, a, raw=raw)
    a = next(arrays(rng, '<f8'))
    np.savetxt(os.path.join(folder, 'savetxt.csv'), a, delimiter=',')
    save_values(folder, manifest, 'savetxt.csv', np.loadtxt(os.path.join(folder, 'savetxt.csv'), delimiter=','))


def write(folder):
    rng, manifest = np.random.default_rng(7), []
    write_npy(folder, manifest, rng)
    write_tiff(folder, manifest, rng)
    write_fits(folder, manifest, rng)
    write_others(folder, manifest, rng)
    with open(os.path.join(folder, 'manifest.json'), 'w') as f:
        json.dump(manifest, f)


def read(path):
    ending = os.path.splitext(path)[1]
    if ending == '.npy':
        return [np.load(path)]
    if ending == '.tif':
        import tifffile
        from PIL import Image, ImageSequence
        with Image.open(path) as img:
            pages = np.array([np.array(p) for p in ImageSequence.Iterator(img)])
        return [tifffile.imread(path), pages if len(pages) > 1 else pages[0]]
    if ending == '.fits':
        from astropy.io import fits
        with fits.open(path) as f:
            f.verify('exception')
            return [np.array(f[0].data)]
    if ending == '.png':
        from PIL import Image
        return [np.array(Image.open(path))]
    with open(path) as f:
        text = f.read()
    if 'time_s' in text:
        rows = np.loadtxt(path, delimiter=',', skiprows=2)
        return [np.array([rows[rows[:, 0] == t][:, 1:] for t in np.unique(rows[:, 0])])]
    blocks = [np.loadtxt(b.splitlines(), delimiter=',' if ending == '.csv' else '\t', ndmin=2) for b in text.split('\n\n')]
    return [np.array(blocks) if len(blocks) > 1 else blocks[0]]


def check(folder):
    with open(os.path.join(folder, 'manifest.json')) as f:
        manifest = json.load(f)
    for m in manifest:
        path = os.path.join(folder, m['file'])
        want = np.fromfile(path + '.f64', dtype='<f8').reshape(m['shape'])
        if m.get('f4'):
            want = want.astype('f4')
        for got in read(path):
            assert got.shape == want.shape, (m['file'], got.shape, want.shape)
            np.testing.assert_array_equal(got.astype('f8'), want.astype('f8'), err_msg=m['file'])
    print(len(manifest), 'files read')


def best(f):
    times = []
    for _ in range(5):
        start = time.perf_counter()
        f()
        times.append(time.perf_counter() - start)
    return min(times)


def clock(stack, text):
    mapped, loaded = np.load(stack, mmap_mode='r'), np.load(stack)
    print(json.dumps(dict(mean_mapped_s=best(lambda: mapped.mean(axis=0)), mean_loaded_s=best(lambda: loaded.mean(axis=0)),
                          loadtxt_s=best(lambda: np.loadtxt(text, delimiter=',')))))


if __name__ == '__main__':
    {'write': write, 'check': check, 'time': clock}[sys.argv[1]](*sys.argv[2:])
