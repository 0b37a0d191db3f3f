/** A map that counts its changes, so that who keeps what he made of it can tell whether it is still so. */

export class CountedMap<Key, Value> extends Map<Key, Value> {
  #revision = 0;

  /** Another number once anything may be another than before. */
  get revision(): number {
    return this.#revision;
  }

  override set(key: Key, value: Value): this {
    this.#revision++;
    return super.set(key, value);
  }

  override delete(key: Key): boolean {
    this.#revision++;
    return super.delete(key);
  }

  override clear(): void {
    this.#revision++;
    super.clear();
  }
}
