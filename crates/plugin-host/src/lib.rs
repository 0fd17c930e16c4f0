//! Plugins: readers in shared libraries, each shown as an ordinary [`Reader`](curvary_formats::Reader).
//!
//! A library is never loaded into this process. [`Plugin`] starts our own executable again as a worker
//! ([`serve`]), hands it the bytes of a file over a pipe and hears what the plugin found; what it hears goes through
//! [`Sink`](curvary_formats::sink::Sink), as with readers of our own. A plugin that crashes, hangs or takes too much
//! memory costs the one file; after the second time it is put aside.
//!
//! [`AllowedPlugins`] is the list of plugins that a person has allowed, each with the digests of its files. This is isolation
//! against mistakes and **no sandbox**: a plugin has the rights of the person who runs the program.
//!
//! Only this crate starts processes, and only this crate and `plugin-abi` have `unsafe`.
//!
//! ```
//! use curvary_plugin_host::{AllowedPlugins, Plugin};
//!
//! // Nothing is loaded that no person has allowed.
//! let allowed = AllowedPlugins::read("/nowhere/plugins.toml".as_ref()).expect("a list, if an empty one");
//! let plugins = allowed.entries().iter().map(Plugin::of_entry);
//! assert_eq!(plugins.count(), 0);
//! ```

mod allowed;
mod files;
mod plugin;
#[cfg(unix)]
mod process;
mod wire;
#[cfg(unix)]
mod worker;

pub use allowed::{AllowedPlugin, AllowedPlugins};
pub use plugin::{Plugin, PluginLimits};

/// The first argument with which our own executable is a worker and nothing else.
pub const WORKER: &str = "plugin-worker";

/// Is the worker: reads orders on standard input until it ends. To be called before anything else is done.
#[must_use]
pub fn serve() -> std::process::ExitCode {
    #[cfg(unix)]
    return worker::serve();
    #[cfg(not(unix))]
    std::process::ExitCode::from(3)
}
