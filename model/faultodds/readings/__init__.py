"""Raw readings ("1.15k", "OL", "38 s per half foot") to likelihoods of outcomes; and the trade's sums."""
