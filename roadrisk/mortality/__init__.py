"""How many die: surveys, missed carcasses, chance of being killed, deaths by road, population."""
