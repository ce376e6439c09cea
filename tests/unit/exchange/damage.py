"""Small intact DICOM files of every kind that is read, and seeded damage to one of them."""

from __future__ import annotations

import shutil
import struct
from pathlib import Path
from typing import Any

import numpy as np
import SimpleITK
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    EnhancedCTImageStorage,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGLosslessSV1,
    JPEGLSLossless,
    RLELossless,
)

SYNTAXES = {
    "plain": ExplicitVRLittleEndian,
    "implicit": ImplicitVRLittleEndian,
    "deflated": DeflatedExplicitVRLittleEndian,
    "rle": RLELossless,
    "jpeg2000": JPEG2000Lossless,
    "jpegls": JPEGLSLossless,
    "jpeglossless": JPEGLosslessSV1,
}
_PLUGIN = {"rle": "pydicom", "jpeg2000": "pylibjpeg", "jpegls": "pyjpegls"}


def compress(ds: Dataset, name: str, aside: Path) -> None:
    """Bring an image into one of the transfer syntaxes, without the encoder that can abort."""
    if name in ("plain", "implicit", "deflated"):
        ds.file_meta.TransferSyntaxUID = SYNTAXES[name]
        return
    if name == "jpeglossless":
        from pydicom import dcmread

        stored = np.frombuffer(ds.PixelData, dtype="<u2").reshape(ds.Rows, ds.Columns)
        image = SimpleITK.GetImageFromArray(stored)
        writer = SimpleITK.ImageFileWriter()
        writer.SetFileName(str(aside / "packed.dcm"))
        writer.UseCompressionOn()
        writer.SetCompressor("JPEG")
        writer.Execute(image)
        packed = dcmread(aside / "packed.dcm")
        ds.file_meta.TransferSyntaxUID = JPEGLosslessSV1
        ds.PixelData = packed.PixelData
        ds["PixelData"].VR = "OB"
        ds["PixelData"].is_undefined_length = True
        ds.BitsStored, ds.HighBit = packed.BitsStored, packed.HighBit
        (aside / "packed.dcm").unlink()
        return
    ds.compress(SYNTAXES[name], encoding_plugin=_PLUGIN[name], generate_instance_uid=False)


def enhanced(images: list[Dataset]) -> Dataset:
    """The same images as one multi-frame CT, made with pydicom alone."""
    whole = Dataset()
    whole.update(images[0])
    whole.file_meta = images[0].file_meta
    whole.SOPClassUID = EnhancedCTImageStorage
    shared, measures, plane, values = Dataset(), Dataset(), Dataset(), Dataset()
    measures.PixelSpacing = images[0].PixelSpacing
    plane.ImageOrientationPatient = images[0].ImageOrientationPatient
    values.RescaleSlope, values.RescaleIntercept = "1", "-1024"
    values.RescaleType = "HU"
    shared.PixelMeasuresSequence = Sequence([measures])
    shared.PlaneOrientationSequence = Sequence([plane])
    shared.PixelValueTransformationSequence = Sequence([values])
    whole.SharedFunctionalGroupsSequence = Sequence([shared])
    frames = []
    for image in images:
        frame, place = Dataset(), Dataset()
        place.ImagePositionPatient = image.ImagePositionPatient
        frame.PlanePositionSequence = Sequence([place])
        frames.append(frame)
    whole.PerFrameFunctionalGroupsSequence = Sequence(frames)
    whole.NumberOfFrames = len(images)
    for keyword in ("PixelSpacing", "ImageOrientationPatient", "ImagePositionPatient",
                    "RescaleSlope", "RescaleIntercept"):  # fmt: skip
        delattr(whole, keyword)
    whole.add_new("PixelData", "OW", b"".join(image.PixelData for image in images))
    return whole


def damage(content: bytes, rng: np.random.Generator) -> tuple[bytes, str]:
    """One seeded damage: flipped bytes, a cut tail, or a wild tag."""
    kind = str(rng.choice(["flips", "cut", "wild tag", "wild length"]))
    data = bytearray(content)
    head = min(len(data), 1600)
    if kind == "flips":
        for _ in range(int(rng.integers(1, 30))):
            end = head if rng.random() < 0.7 else len(data)
            data[int(rng.integers(0, end))] = int(rng.integers(0, 256))
    elif kind == "cut":
        data = data[: int(rng.integers(1, len(data)))]
    else:
        at = int(rng.integers(132, head))
        if kind == "wild tag":
            vr = bytes(rng.choice([b"DS", b"SQ", b"UN", b"OW", b"US", b"PN", b"ZZ", b"\xff\0"]))
            length = int(rng.choice([0, 2, 17, 65534]))
            tag = struct.pack("<HH2sH", *rng.integers(0, 65536, 2).tolist(), vr.ljust(2), length)
            data[at:at] = tag + rng.bytes(int(rng.integers(0, 24)))
        else:
            wild = rng.choice([0xFFFFFFFF, 0x7FFFFFFF, 0xFFFE, 1])
            data[at : at + 4] = struct.pack("<I", int(wild))
    return bytes(data), kind


def copy_with_damage(intact: Path, target: Path, rng: np.random.Generator) -> tuple[Path, str]:
    """A copy of a folder in which one file is damaged."""
    shutil.copytree(intact, target)
    files = sorted(target.iterdir())
    chosen = files[int(rng.integers(0, len(files)))]
    content, kind = damage(chosen.read_bytes(), rng)
    chosen.write_bytes(content)
    return chosen, kind


def series_in(maker: Any, name: str) -> Path:
    """Four slices of one transfer syntax."""
    made = maker(name=name, count=4, edit=lambda ds, _k: compress(ds, name, maker.root))
    return Path(made.folder)
