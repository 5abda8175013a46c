"""How functions are compiled to machine code, decided once."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

__all__ = ["compiled", "compiled_parallel", "each", "fingerprint"]

_Function = TypeVar("_Function", bound=Callable[..., Any])

# numpy's rules for division by zero. Of fast-math only what leaves NaN and the order of sums alone: a product and a
# sum may be rounded once instead of twice.
_RULES: dict[str, Any] = {"error_model": "numpy", "fastmath": {"contract"}}


def compiled(function: _Function) -> _Function:
    """Compile a function that only other compiled ones call; from Python it would crash."""
    # numba's own types do not know the first two, which spare most of the time that compiling takes
    options: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "forceinline": True}
    return cast(_Function, cast(Any, numba.njit)(**_RULES, **options)(function))


def compiled_parallel(function: _Function) -> _Function:
    """Compile a function that Python calls, its `each` loops on all cores, and keep it for the next start.

    Where no folder can be written it is compiled anew at every start.
    """
    try:
        return cast(_Function, numba.njit(cache=True, parallel=True, **_RULES)(function))
    except RuntimeError:
        # numba found neither the package's folder nor the user's cache to write to
        return cast(_Function, numba.njit(parallel=True, **_RULES)(function))


each = cast(Callable[[int], range], numba.prange)


def fingerprint(*modules: str) -> str:
    """Return what changes whenever the source of one of this room's modules does."""
    folder = Path(__file__).parent
    return hashlib.sha256(b"".join((folder / f"{name}.py").read_bytes() for name in modules)).hexdigest()
