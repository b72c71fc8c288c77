"""What things cost: a change, another loop, a quote, a part that sells; money added to the cent, shown as ranges."""
