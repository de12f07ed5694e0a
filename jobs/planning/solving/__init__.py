"""The planner's machinery: from a problem to plans, reasons, and the price of changing them."""
