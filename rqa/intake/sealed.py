"""Records that are no rows, kept encrypted where names become pseudonyms: who has the key can read them, nobody else.

The cipher is Fernet (AES-128-CBC with HMAC-SHA-256) of the package `cryptography`, with a key of its own that is made
of the `key_file`, so that neither a pseudonym nor an encrypted record helps against the other.
"""

import base64
import hashlib
import hmac
from pathlib import Path

from rqa.errors import MappingError
from rqa.intake.mapping import Mapping

PREFIX = "encrypted:"
"""How the text of an encrypted record begins."""
PURPOSE = b"rqa: records that are no rows"
LACKING = (
    "encrypted records need the package cryptography, which is not installed. Install it with "
    "`pip install 'rqa[encrypt]'`"
)


class Sealing:
    """Encrypts and decrypts with the key that a `key_file` holds. Raises `MappingError` without `cryptography`."""

    def __init__(self, secret: bytes) -> None:
        try:
            from cryptography.fernet import Fernet
        except ImportError as error:
            raise MappingError(f"{LACKING}.") from error
        made = hmac.new(secret, PURPOSE, hashlib.sha256).digest()
        self._cipher = Fernet(base64.urlsafe_b64encode(made))

    def sealed(self, record: str) -> str:
        """The record, encrypted; no two texts are alike, also of the same record."""
        return PREFIX + self._cipher.encrypt(record.encode("utf-8", "surrogatepass")).decode()

    def opened(self, text: str) -> str | None:
        """The record that was encrypted; None if it was not by this key, or is none."""
        from cryptography.fernet import InvalidToken

        try:
            return self._cipher.decrypt(text.removeprefix(PREFIX)).decode("utf-8", "surrogatepass")
        except InvalidToken:
            return None


def sealing_of(mapping: Mapping) -> Sealing | None:
    """What encrypts the records of a mapping: the key of its first `key_file`; None where they are not to be."""
    if mapping.workspace.broken_records != "encrypted":
        return None
    keys = [key for entry in mapping.table for key in entry.key_files]
    if not keys:
        raise MappingError(
            "[workspace] broken_records: 'encrypted' takes the key of a key_file, and no column has one. Give the "
            "columns that hold names a key_file, or leave broken_records out"
        )
    path = Path(keys[0]).expanduser()
    # A key that is not there is told of with its column.
    return Sealing(path.read_bytes()) if path.is_file() else None
