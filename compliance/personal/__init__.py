"""Personal data of households: how long they are kept, what is held, erasing, holding on."""
