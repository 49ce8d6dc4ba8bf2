"""Quantiles of Student's t and of F, and how likely a Q is.

scipy.special only: scipy.stats is slow to import.
"""


def t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """The value that Student's t stays below with this probability."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, probability))


def f_quantile(probability: float, numerator: float, denominator: float) -> float:
    """The value that F stays below with this probability, for these degrees of freedom."""
    from scipy.special import fdtri

    return float(fdtri(numerator, denominator, probability))


def normal_quantile(probability: float) -> float:
    """The value that a standard normal variable stays below with this probability."""
    from scipy.special import ndtri

    return float(ndtri(probability))


def q_probability(q: float, degrees_of_freedom: int, scatter_freedom: int | None = None) -> float:
    """Chance of a Q this large or larger among testers who agree.

    `scatter_freedom`: degrees of freedom of the scatter, where the standard uncertainties come from
    it; None for stated ones, which are taken as known.
    """
    from scipy.special import chdtrc, fdtrc

    if scatter_freedom is None:
        return float(chdtrc(degrees_of_freedom, q))
    return float(fdtrc(degrees_of_freedom, scatter_freedom, q / degrees_of_freedom))
