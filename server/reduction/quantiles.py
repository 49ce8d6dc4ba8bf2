"""Quantiles of Student's t and of F. scipy.special only: scipy.stats is slow to import."""


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
