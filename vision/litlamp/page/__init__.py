"""The learner's page: a small local web page over the other rooms."""
