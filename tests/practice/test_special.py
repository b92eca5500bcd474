from __future__ import annotations

import subprocess
import sys

import numpy as np
import scipy.special

from shortpencil.scan.practice import special


def test_they_are_the_functions_of_scipy_to_the_last_bit():
    a, b = np.meshgrid(np.geomspace(0.05, 400, 23), np.geomspace(0.05, 400, 19))
    p = np.linspace(0.001, 0.999, 19)[:, None] * np.ones_like(a)
    given = {
        "bdtr": (np.floor(b), np.floor(a + b).astype(int), p),
        **dict.fromkeys(("betainc", "betaincinv"), (a, b, p)),
        "betaln": (a, b),
        **dict.fromkeys(("gammainc", "gammaincc"), (a, b)),
        **dict.fromkeys(("gammaincinv", "gammainccinv"), (a, p)),
        **dict.fromkeys(("gammaln", "psi"), (a,)),
        "ndtr": (a - b,),
        "ndtri": (p,),
        "stdtr": (a, b - 20),
    }
    assert set(given) == set(special.NAMES)
    for name, values in given.items():
        found = getattr(special, name)(*values)
        assert np.isfinite(found).all(), name
        np.testing.assert_array_equal(found, getattr(scipy.special, name)(*values), err_msg=name)


def test_what_is_not_asked_for_is_not_loaded_and_can_be_later():
    code = (
        "import sys; from shortpencil.scan.practice import special; "
        "assert not {'scipy.special', 'scipy.linalg', 'numpy.f2py'} & set(sys.modules); "
        "import scipy.special, scipy.linalg; assert scipy.special.polygamma(1, 2.0) > 0; "
        "assert scipy.special.ndtri(0.975) == special.ndtri(0.975); print('so')"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "so\n"


def test_where_they_are_kept_elsewhere_the_whole_is_loaded(monkeypatch):
    monkeypatch.setattr(special, "NAMES", (*special.NAMES, "a function of another release"))
    monkeypatch.delitem(sys.modules, "scipy.special")
    assert special.functions().__name__ == "scipy.special"
