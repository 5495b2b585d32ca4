"""The shared library that z3's package carries, called directly: the functions the session needs, and no more.

It does not solve anything and knows nothing of graphs; `verifier.logic.session` is the only module that may use it.

Why not `import z3`: measured here, loading the library takes 4 ms and its Python layer another 45 ms, and a call
through that layer takes three times as long as one through `ctypes` alone. A whole check of a small circuit is allowed
400 ms. A package laid out in another way is found through `import z3` all the same.
"""

from __future__ import annotations

import ctypes
import importlib.util
import sys
from functools import cache
from pathlib import Path

POINTER = ctypes.c_void_p
UNSIGNED = ctypes.c_uint
INTEGER = ctypes.c_int
TEXT = ctypes.c_char_p
BOOLEAN = ctypes.c_bool

Handle = int
"""Address of an object of z3's."""

_SIGNATURES: dict[str, tuple[object, ...]] = {
    # Name: result, then arguments, as in the header z3_api.h.
    "Z3_mk_config": (POINTER,),
    "Z3_del_config": (None, POINTER),
    "Z3_mk_context_rc": (POINTER, POINTER),
    "Z3_set_error_handler": (None, POINTER, POINTER),
    "Z3_get_error_code": (INTEGER, POINTER),
    "Z3_get_error_msg": (TEXT, POINTER, INTEGER),
    "Z3_mk_string_symbol": (POINTER, POINTER, TEXT),
    "Z3_mk_int_symbol": (POINTER, POINTER, INTEGER),
    "Z3_mk_bool_sort": (POINTER, POINTER),
    "Z3_mk_true": (POINTER, POINTER),
    "Z3_mk_const": (POINTER, POINTER, POINTER, POINTER),
    "Z3_mk_not": (POINTER, POINTER, POINTER),
    "Z3_mk_and": (POINTER, POINTER, UNSIGNED, POINTER),
    "Z3_mk_or": (POINTER, POINTER, UNSIGNED, POINTER),
    "Z3_mk_iff": (POINTER, POINTER, POINTER, POINTER),
    "Z3_get_app_decl": (POINTER, POINTER, POINTER),
    "Z3_inc_ref": (None, POINTER, POINTER),
    "Z3_dec_ref": (None, POINTER, POINTER),
    "Z3_mk_params": (POINTER, POINTER),
    "Z3_params_inc_ref": (None, POINTER, POINTER),
    "Z3_params_dec_ref": (None, POINTER, POINTER),
    "Z3_params_set_uint": (None, POINTER, POINTER, POINTER, UNSIGNED),
    "Z3_params_set_bool": (None, POINTER, POINTER, POINTER, BOOLEAN),
    "Z3_mk_solver_for_logic": (POINTER, POINTER, POINTER),
    "Z3_solver_inc_ref": (None, POINTER, POINTER),
    "Z3_solver_dec_ref": (None, POINTER, POINTER),
    "Z3_solver_set_params": (None, POINTER, POINTER, POINTER),
    "Z3_solver_assert": (None, POINTER, POINTER, POINTER),
    "Z3_solver_check_assumptions": (INTEGER, POINTER, POINTER, UNSIGNED, POINTER),
    "Z3_solver_get_reason_unknown": (TEXT, POINTER, POINTER),
    "Z3_solver_get_model": (POINTER, POINTER, POINTER),
    "Z3_model_inc_ref": (None, POINTER, POINTER),
    "Z3_model_dec_ref": (None, POINTER, POINTER),
    "Z3_model_get_const_interp": (POINTER, POINTER, POINTER, POINTER),
    "Z3_solver_get_unsat_core": (POINTER, POINTER, POINTER),
    "Z3_ast_vector_inc_ref": (None, POINTER, POINTER),
    "Z3_ast_vector_dec_ref": (None, POINTER, POINTER),
    "Z3_ast_vector_size": (UNSIGNED, POINTER, POINTER),
    "Z3_ast_vector_get": (POINTER, POINTER, POINTER, UNSIGNED),
    "Z3_eval_smtlib2_string": (TEXT, POINTER, TEXT),
}

_FILE_NAMES = {"win32": "libz3.dll", "cygwin": "libz3.dll", "darwin": "libz3.dylib"}


@cache
def load_library() -> ctypes.CDLL:
    """The library with the signature of every function that is used. Raises OSError when it cannot be loaded."""
    library = ctypes.CDLL(_library_file())
    for name, (result, *arguments) in _SIGNATURES.items():
        function = getattr(library, name)
        function.restype = result
        function.argtypes = arguments
    return library


def _library_file() -> str:
    package = importlib.util.find_spec("z3")
    for folder in (package.submodule_search_locations or ()) if package else ():
        file = Path(folder, "lib", _FILE_NAMES.get(sys.platform, "libz3.so"))
        if file.is_file():
            return str(file)
    from z3 import z3core  # raises ImportError when there is no such package

    return str(z3core.lib()._name)


def new_context() -> Handle:
    """A context whose objects live as long as they are referred to; errors are kept for `raise_error`, not printed."""
    library = load_library()
    configuration = library.Z3_mk_config()
    context: Handle = library.Z3_mk_context_rc(configuration)
    library.Z3_del_config(configuration)
    library.Z3_set_error_handler(context, None)
    return context


def raise_error(context: Handle) -> None:
    """Raises RuntimeError when the last call went wrong."""
    library = load_library()
    code = library.Z3_get_error_code(context)
    if code != 0:
        raise RuntimeError(f"z3: {library.Z3_get_error_msg(context, code).decode()}")
