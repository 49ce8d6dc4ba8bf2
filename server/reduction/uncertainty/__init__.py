"""Uncertainty twice: first order (JCGM 100) and by drawing (JCGM 101); decisions (JCGM 106).

`conformity` is scalar maths for pages; the other modules load numpy or scipy.
"""
