"""How far each input may move before the advice changes."""

from faultodds.advice.sensitivity.margins import Edge, Sensitivity, WhatIf, sensitivity
