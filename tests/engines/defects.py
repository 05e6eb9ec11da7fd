"""Faults of the engines themselves that cells of ours meet, each with its reason; `test_defects.py` shows each alone.

They are functions that are replaced when the engine computes: in `hyperformula_results.js`, in `by_formualizer`.
"""

from __future__ import annotations

MENDED = {
    "INT": "HyperFormula cuts towards zero, so that INT(-2.5) is -2; the formats' standards and the others say -3",
    "HYPGEOMDIST": "HyperFormula asks for a fifth argument, which only the newer HYPGEOM.DIST has",
    "ISFORMULA": "formualizer answers FALSE of a cell that holds a formula",
}
