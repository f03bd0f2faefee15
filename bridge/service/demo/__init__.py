"""What `lamproom demo` puts around the bridge: a broker, nodes, trains and people. Only the bridge is real.

They speak to the bridge over TCP and MQTT and in no other way, so it cannot tell them from a layout.
"""
