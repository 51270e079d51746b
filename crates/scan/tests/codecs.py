"""Writes PDFs and TIFFs of one small picture, packed in the ways that scanners use, into the
folder that is given, and prints their names. Ends with 3 where Pillow or pikepdf is missing."""

import io
import pathlib
import sys

try:
    import pikepdf
    from PIL import Image, ImageOps, features
except ImportError as error:
    print(error)
    sys.exit(3)

folder = pathlib.Path(sys.argv[1])
size = (48, 36)
picture = Image.new("L", size, 255)
picture.paste(0, (4, 4, 20, 12))


def written(image, kind, **options):
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def put(name, data):
    (folder / name).write_bytes(data)
    print(name)


def page(name, data, **entries):
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=size)
    image = pikepdf.Stream(pdf, data)
    for key, value in dict(entries, Width=size[0], Height=size[1]).items():
        image[pikepdf.Name("/" + key)] = value
    image.Type, image.Subtype = pikepdf.Name.XObject, pikepdf.Name.Image
    shown = pdf.pages[0]
    shown.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(I=image))
    shown.Contents = pikepdf.Stream(pdf, b"q 48 0 0 36 0 0 cm /I Do Q")
    pdf.save(folder / name)
    print(name)


def fax(k, **options):
    """The strip of a TIFF whose codes take black for 1."""
    data = written(ImageOps.invert(picture).convert("1"), "TIFF", **options)
    tags = Image.open(io.BytesIO(data)).tag_v2
    (start,), (length,) = tags[273], tags[279]
    parameters = pikepdf.Dictionary(K=k, Columns=size[0], Rows=size[1])
    return dict(
        data=data[start : start + length],
        Filter=pikepdf.Name.CCITTFaxDecode,
        DecodeParms=parameters,
        ColorSpace=pikepdf.Name.DeviceGray,
        BitsPerComponent=1,
    )


page("g4.pdf", **fax(-1, compression="group4"))
for name in ("group3", "group4", "tiff_lzw", "packbits", "tiff_adobe_deflate"):
    put(name + ".tif", written(picture.convert("1"), "TIFF", compression=name))
if features.check("jpg_2000"):
    for name, mode, options in (
        ("grey", "L", {}),
        ("colour", "RGB", {}),
        ("lossy", "RGB", {"irreversible": True, "quality_mode": "dB", "quality_layers": [45]}),
        ("tiles", "RGB", {"tile_size": (16, 16)}),
    ):
        data = written(picture.convert(mode), "JPEG2000", **options)
        page(name + ".jpx.pdf", data, Filter=pikepdf.Name.JPXDecode)
