"""What a file is, told by its content and not by its name."""

from __future__ import annotations

_MAGIC = (
    (b"\x89PNG\r\n", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"RIFF", "a picture or a sound"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"PK\x05\x06", "an empty ZIP archive"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed archive"),
    (b"BZh", "a compressed file"),
    (b"\xfd7zXZ\x00", "a compressed file"),
    (b"(\xb5/\xfd", "a compressed file"),
    (b"Rar!", "a compressed archive"),
    (b"glTF", "a GLB"),
    (b"ply\n", "a PLY"),
    (b"ply\r", "a PLY"),
    (b"ISO-10303-21", "a STEP file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"SQLite format 3", "a database"),
    (b"\xd0\xcf\x11\xe0", "an office document"),
    (b"<?xml", "an XML text"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
    (b"{", "a JSON text"),
    (b"version https://git-lfs", "a pointer to a large file kept elsewhere, not the file itself"),
)


def looks_like_text(head: bytes) -> bool:
    """Whether these first bytes are text: no zero byte, hardly any control characters."""
    if not head or b"\0" in head:
        return False
    control = sum(byte < 32 and byte not in b"\t\n\r\f\v" for byte in head)
    return control <= len(head) // 100


def foreign_content(head: bytes) -> str | None:
    """Name what these first bytes belong to, or return None if nothing is known about them."""
    for magic, name in _MAGIC:
        if head.startswith(magic):
            # Two letters alone prove nothing.
            if len(magic) <= 2 and looks_like_text(head) and magic != b"{":
                continue
            return name
    if looks_like_text(head):
        return "a text"
    return None


def known_format(head: bytes) -> str | None:
    """Return the ending this content would have (".ply", ".glb", …), where it is sure."""
    if head.startswith((b"ply\n", b"ply\r")):
        return ".ply"
    if head.startswith(b"glTF"):
        return ".glb"
    if head.startswith(b"PK\x03\x04"):
        return ".3mf"
    if head.lstrip().startswith(b"ISO-10303-21"):
        return ".step"
    return None
