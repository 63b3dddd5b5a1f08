//! The networks that this computer is in, and the address in them.

use std::net::{IpAddr, Ipv4Addr, UdpSocket};

/// Beginnings of the names of networks that lead to no phone: bridges and tunnels of the system's
/// own.
const VIRTUAL: [&str; 9] = ["br-", "veth", "virbr", "vethernet", "tun", "tap", "wg", "utun", "cni"];
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
    let found =
        if_addrs::get_if_addrs().unwrap_or_default().into_iter().filter_map(|way| match way.addr {
            if_addrs::IfAddr::V4(v4) => {
                Some(Network { name: way.name, address: v4.ip, netmask: v4.netmask })
            }
            if_addrs::IfAddr::V6(_) => None,
        });
    likeliest_first(found.collect(), way_out())
}

/// The address of the network by which this computer would reach others: most often the router's or
/// the hotspot's that the phone is in, too. Nothing is sent for it; the address asked about is one
/// for examples (RFC 5737).
fn way_out() -> Option<Ipv4Addr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    match socket.local_addr().ok()?.ip() {
        IpAddr::V4(address) => Some(address),
        IpAddr::V6(_) => None,
    }
}

/// The local ones of these networks, the likeliest for a phone first; `way_out` is the address of
/// the one that leads to others.
pub fn likeliest_first(mut networks: Vec<Network>, way_out: Option<Ipv4Addr>) -> Vec<Network> {
    networks.retain(|network| is_local(network.address));
    networks.sort_by_key(|network| {
        let name = network.name.to_ascii_lowercase();
        let begins = |words: &[&str]| words.iter().any(|word| name.starts_with(word));
        let leads_out = way_out == Some(network.address);
        (
            begins(&VIRTUAL),
            !leads_out,
            network.address.is_link_local(),
            !begins(&WIRELESS),
            network.address,
        )
    });
    networks
}

/// Whether an address is one of a private network: the page is never offered to the whole internet
/// unasked.
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
