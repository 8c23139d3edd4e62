"""What a result was made with: program, packages and kind of machine, but nothing about whose."""

from __future__ import annotations

import hashlib
import importlib.metadata
import platform

__all__ = ["FIPY", "SOILFLOW", "hash_of", "versions_at_work"]

# Names of the engines: the network of conductances, and the independent one.
SOILFLOW = "soilflow"
FIPY = "fipy"
_PACKAGES = ("soilflow", "numpy", "scipy", "pyamg", "shapely", "fluids", "h5py")


def hash_of(text: str) -> str:
    """Hash a text.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    sha256 : str
        SHA-256 of its UTF-8 bytes, in hexadecimal.

    Examples
    --------
    >>> hash_of("abc")[:16]  # FIPS 180-4, its own example, from memory
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(text.encode()).hexdigest()


def versions_at_work(engine: str) -> dict[str, str]:
    """Collect the versions of whatever the bits of a result depend on.

    Parameters
    ----------
    engine : str
        What solved the flow; FiPy counts only when it did.

    Returns
    -------
    versions : dict of str to str
        Versions of Python and of packages, with the kinds of system and processor.
    """
    found = {
        "python": platform.python_version(),
        "python_implementation": platform.python_implementation(),
        "system": platform.system(),
        "machine": platform.machine(),
    }
    for name in (*_PACKAGES, *([FIPY] if engine == FIPY else [])):
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found
