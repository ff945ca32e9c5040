"""Values that know where they came from and how far to trust them.

Three nouns. A `Source` says where a value came from. A `Reading` is one uncertain input: a value,
its error and its source. A `Quantity` is one predicted number: a value with its 5-95 % interval,
its source and the share of its doubt that rests on averages or assumptions.
A `Sample` holds quasi-random draws of many readings; `Sample.summarise` turns an array computed
from those draws into a `Quantity`.
"""

from canalwright.quantities.provenance import Origin, Source
from canalwright.quantities.quantity import Quantity
from canalwright.quantities.reading import Reading, Shape
from canalwright.quantities.sample import Contribution, Sample, draw
from canalwright.quantities.surface import carried

__all__ = ["Contribution", "Origin", "Quantity", "Reading", "Sample", "Shape", "Source", "carried", "draw"]
