from .margins import Edge as Edge, Sensitivity as Sensitivity, WhatIf as WhatIf, sensitivity as sensitivity
