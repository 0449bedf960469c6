"""Decodes one HEIC in a process of its own, because some damaged files end the process of the library.

``python heic_process.py MOST_PIXELS BOX`` reads the file from its standard input. It writes the width and the height
in one line, then the picture as PNG, at most ``BOX`` by ``BOX`` pixels. A picture with over ``MOST_PIXELS`` is not
decoded, and there is only the line. With the box 0 it is decoded, but not written. Any other exit code than 0 and
:data:`NO_LIBRARY` means that the file cannot be read.
"""

import sys

NO_LIBRARY = 3
"""The exit code if the library is not installed."""

MEMORY = 2_000_000_000
"""The limit of memory of the process, in bytes."""

SECONDS = 20
"""The limit of computing time of the process, in seconds."""


def main() -> int:
    """Decode the picture on the standard input. Returns the exit code."""
    _limit()
    most_pixels, box = map(int, sys.argv[1:])
    from io import BytesIO

    from PIL import Image

    try:
        from pi_heif import register_heif_opener  # type: ignore[import-untyped]  # it has no types
    except ImportError:
        return NO_LIBRARY
    register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
    Image.MAX_IMAGE_PIXELS = None  # the limit is `most_pixels`
    out = sys.stdout.buffer
    picture = Image.open(BytesIO(sys.stdin.buffer.read()), formats=["HEIF"])
    width, height = picture.size
    if width * height <= most_pixels:
        picture.load()
        width, height = picture.size
    out.write(f"{width} {height}\n".encode())
    if box and width * height <= most_pixels:
        small = picture.convert("RGBA" if "A" in picture.getbands() else "RGB")
        small.thumbnail((box, box))
        small.save(out, "PNG", compress_level=1)
    return 0


def _limit() -> None:
    try:
        import resource
    except ImportError:  # pragma: no cover  # Windows
        return
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    if sys.platform == "linux":
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    sys.exit(main())
