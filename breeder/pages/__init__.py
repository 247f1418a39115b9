"""What every page needs: one-time tokens, messages, the bar of animals and the box curve as SVG."""
