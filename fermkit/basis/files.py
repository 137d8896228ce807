"""Files that we write: whole or not at all, never over what was read, never through a link or a device."""

import contextlib
import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Collection, Iterator
from pathlib import Path

from fermkit.basis.errors import InputError


def write_whole(path: str | Path, content: bytes, *, read: Collection[str] = (), replace: bool = True) -> Path:
    """Write a file beside its target, then move it into place: the old file whole, or the new file whole.

    Parameters
    ----------
    path : str or Path
        A file that is there keeps its permissions.
    content : bytes
    read : collection of str
        SHA-256 of the files that the content comes from; none of them is ever written over.
    replace : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If something is there that may not be replaced, or the place cannot be written.
    """
    place = Path(path)
    try:
        mode = may_be_written(place, read=read, replace=replace)
        _move_into(place, content, mode, replace)
    except InputError:
        raise
    except (OSError, ValueError) as problem:  # ValueError: a NUL in the name
        raise InputError(
            f"{str(path)!r} cannot be written: {getattr(problem, 'strerror', None) or problem}",
            "a folder that exists and may be written to",
            "choose another place",
        ) from None
    return place


def may_be_written(place: Path, *, read: Collection[str] = (), replace: bool = True) -> int | None:
    """The permissions of the file that would be replaced, None where there is none; refuses what may not be."""
    try:
        there = os.lstat(place)
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(there.st_mode):
        kind = "a link" if stat.S_ISLNK(there.st_mode) else "a folder" if stat.S_ISDIR(there.st_mode) else "a device"
        raise InputError(f"{str(place)!r} is {kind}", "a plain file or a new name", "choose another place")
    if not replace:
        raise InputError(f"{place.name!r} is there already", "a new name", "choose another name; nothing was written")
    if read and hashlib.sha256(place.read_bytes()).hexdigest() in read:
        raise InputError(
            f"{str(place)!r} holds the readings that this comes from", "a file of its own for what is written",
            "choose another name; nothing was written",
        )  # fmt: skip
    return stat.S_IMODE(there.st_mode)


def _move_into(place: Path, content: bytes, mode: int | None, replace: bool) -> None:
    handle, name = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:60]}.", suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o666 & ~umask() if mode is None else mode)
        if replace:
            os.replace(name, place)
        else:
            _into_a_new_name(name, place)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def _into_a_new_name(name: str, place: Path) -> None:
    """Fails where another program has made the file meanwhile."""
    try:
        os.link(name, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        os.rename(name, place)
    else:
        os.unlink(name)


def umask() -> int:
    """The permissions that a new file does not get."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


@contextlib.contextmanager
def alone(path: Path) -> Iterator[None]:
    """Hold other programs off a file while it is read, changed and written: they wait, however long it takes.

    The lock is a hidden file beside it, which stays; the system gives it back when its holder ends, however that ends.
    Where a share knows no locks, nobody waits.
    """
    with open(path.with_name(f".{path.name}-lock"), "a+b") as lock:
        with contextlib.suppress(OSError):
            if sys.platform == "win32":
                import msvcrt

                msvcrt.locking(lock.fileno(), msvcrt.LK_LOCK, 1)
            else:
                import fcntl

                fcntl.flock(lock, fcntl.LOCK_EX)
        yield
