//! The networks that this computer is in, and the address in them.

use std::net::{IpAddr, Ipv4Addr};

/// Beginnings of the names of networks that lead to no phone: of virtual machines, containers and tunnels.
const VIRTUAL: [&str; 15] = [
    "docker",
    "br-",
    "veth",
    "virbr",
    "vmnet",
    "vboxnet",
    "tun",
    "tap",
    "wg",
    "utun",
    "tailscale",
    "zt",
    "cni",
    "podman",
    "vethernet",
];
/// Those of wireless networks, as Linux names them and as Windows and macOS do.
const WIRELESS: [&str; 4] = ["wl", "wi-fi", "wifi", "en0"];

/// A network that this computer is in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Network {
    /// The system's name for the way into it, such as "wlan0".
    pub name: String,
    pub address: Ipv4Addr,
    pub netmask: Ipv4Addr,
}

impl Network {
    /// "192.168.43.0/24, by wlan0".
    pub fn words(&self) -> String {
        let [address, mask] = [self.address, self.netmask].map(u32::from);
        format!("{}/{}, by {}", Ipv4Addr::from(address & mask), mask.count_ones(), self.name)
    }
}

/// The local networks, the likeliest for a phone first; empty where there is none.
pub fn networks() -> Vec<Network> {
    let found = if_addrs::get_if_addrs().unwrap_or_default().into_iter().filter_map(|way| match way.addr {
        if_addrs::IfAddr::V4(v4) => Some(Network { name: way.name, address: v4.ip, netmask: v4.netmask }),
        if_addrs::IfAddr::V6(_) => None,
    });
    likeliest_first(found.collect())
}

fn likeliest_first(mut networks: Vec<Network>) -> Vec<Network> {
    networks.retain(|network| is_local(network.address));
    networks.sort_by_key(|network| {
        let name = network.name.to_ascii_lowercase();
        let begins = |words: &[&str]| words.iter().any(|word| name.starts_with(word));
        (begins(&VIRTUAL), network.address.is_link_local(), !begins(&WIRELESS), network.address)
    });
    networks
}

/// Whether an address is one of a private network: the page is never offered to the whole internet unasked.
fn is_local(address: Ipv4Addr) -> bool {
    address.is_private() || address.is_link_local()
}

/// What to write between "http://" and the port.
pub fn host(address: IpAddr) -> String {
    match address {
        IpAddr::V4(v4) => v4.to_string(),
        IpAddr::V6(v6) => format!("[{v6}]"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wireless_network_comes_first_and_public_addresses_do_not_come() {
        let network = |name: &str, address: [u8; 4]| Network {
            name: name.to_owned(),
            address: address.into(),
            netmask: [255, 255, 255, 0].into(),
        };
        let found = vec![
            network("lo", [127, 0, 0, 1]),
            network("docker0", [172, 17, 0, 1]),
            network("eth0", [192, 168, 1, 7]),
            network("eth1", [203, 0, 113, 9]),
            network("wlan0", [192, 168, 43, 17]),
            network("usb0", [169, 254, 3, 4]),
        ];
        let names: Vec<String> = likeliest_first(found).iter().map(|network| network.name.clone()).collect();
        assert_eq!(names, ["wlan0", "eth0", "usb0", "docker0"]);
        assert_eq!(network("wlan0", [192, 168, 43, 17]).words(), "192.168.43.0/24, by wlan0");
    }
}
