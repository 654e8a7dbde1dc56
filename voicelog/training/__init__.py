"""How the acoustic model is made: speech in, a model folder out. An optional extra; the rest never imports it."""
