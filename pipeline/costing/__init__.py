"""What a change costs at each stage, what is still wrong, whether another loop pays, quotes on one footing, and the case for a part."""
