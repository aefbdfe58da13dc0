from .margins import Edge as Edge, Sensitivity as Sensitivity, WhatIf as WhatIf, sensitivity as sensitivity
from .what_if_words import about as about, amount as amount, move_words as move_words
