// What the outbox keeps, in IndexedDB: it outlives a reload, a crash of the browser and a dead battery.

/** An entry that waits. `state`: still to be sent, asked about by the server, or not taken by it. */
export interface Waiting {
  id: string;
  order: number;
  url: string;
  body: string;
  state: "waiting" | "asked" | "refused";
  said: string;
}

const NAME = "halfsplit";
const STORE = "outbox";

function opened(): Promise<IDBDatabase> {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "id" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error ?? new Error("no database"));
  });
}

async function transact<T>(mode: IDBTransactionMode, act: (store: IDBObjectStore) => IDBRequest<T>): Promise<T> {
  const database = await opened();
  try {
    return await new Promise<T>((resolve, reject) => {
      const transaction = database.transaction(STORE, mode, { durability: "strict" });
      const request = act(transaction.objectStore(STORE));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error ?? new Error("not kept"));
    });
  } finally {
    database.close();
  }
}

/** Keeps an entry; on the disk when this is settled. One with the same id is replaced. */
export async function keep(entry: Waiting): Promise<void> {
  await transact("readwrite", (store) => store.put(entry));
}

/** Everything that waits, in the order in which it was entered. */
export async function waiting(): Promise<Waiting[]> {
  const found = await transact<Waiting[]>("readonly", (store) => store.getAll() as IDBRequest<Waiting[]>);
  return found.sort((a, b) => a.order - b.order);
}

/** Forgets an entry that has arrived, or that its author dropped. */
export async function drop(id: string): Promise<void> {
  await transact("readwrite", (store) => store.delete(id) as IDBRequest<undefined>);
}
