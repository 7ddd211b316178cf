"""From fixes of tagged animals to who crosses which road, where and how often."""
