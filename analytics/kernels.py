"""Compiled code kept on disk across files: a number that changes whenever one of the functions it rests on does.

Numba looks for changes only in the file of the function it caches. A cached function therefore takes this number into
its closure, which is part of the name under which it is kept.
"""

import marshal
import zlib
from types import ModuleType

from numba.core.dispatcher import Dispatcher


def fingerprint(*modules: ModuleType) -> int:
    """Of all compiled functions that the modules define or import."""
    found = [value for module in modules for value in vars(module).values() if isinstance(value, Dispatcher)]
    return zlib.crc32(b"".join(marshal.dumps(kernel.py_func.__code__) for kernel in found))
