"""canalwright: from one canal's own measurements to a plan, a simulated downpack, a card and a record."""

__version__ = "0.1.0"
