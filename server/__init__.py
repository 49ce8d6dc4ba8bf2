"""Benchledger: bench tests of mains-powered motor appliances, reduced, stored and compared."""

__version__ = "0.1.0"
