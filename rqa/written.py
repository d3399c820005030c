"""Files written whole or not at all: a full disk leaves what was there."""

import os
import secrets
from contextlib import suppress
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file under another name beside its place, then put it there in one step, for those who could read it.

    A link stays a link to what is written. Raises `OSError`, which names the file; a pipe or a device is written as it
    is.
    """
    try:
        real = path.resolve()
        if real.exists() and not real.is_file():
            real.write_bytes(content)
            return
        fresh = real.with_name(f".new-{os.getpid()}-{secrets.token_hex(4)}")
        try:
            with fresh.open("xb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            if real.exists():
                fresh.chmod(real.stat().st_mode & 0o777)
            fresh.replace(real)
        except BaseException:
            with suppress(OSError):
                fresh.unlink()
            raise
    except OSError as error:
        # A failed write tells no name, and one of ours is of no use to a reader.
        error.filename, error.filename2 = str(path), None
        raise
