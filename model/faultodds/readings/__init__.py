"""Raw readings ("1.15k", "OL", "38 s per half foot") to likelihoods over a check's outcomes, and the trade's sums."""
