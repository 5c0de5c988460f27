/** Gives a file away: by the phone's own sharing where it takes files of this kind, else as a download. */
export async function giveFile(file: File): Promise<string> {
  if (navigator.canShare?.({ files: [file] }) === true) {
    try {
      await navigator.share({ files: [file] });
      return `Shared: ${file.name}.`;
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return "Not shared.";
      // a phone may refuse it all the same; the download is still there
    }
  }
  const url = URL.createObjectURL(file);
  const link = document.createElement("a");
  link.href = url;
  link.download = file.name;
  link.click();
  // the browser reads the file after this turn
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
  return `Saved: ${file.name}.`;
}
