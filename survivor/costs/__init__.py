"""What preparation costs and what that buys: prices per plant, increments, best value, stocking.

Pure statistics on prices and standardised survival; `survivor.costs.payoff` puts them
together into one answer.
"""
